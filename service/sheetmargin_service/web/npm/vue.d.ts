// Templates of Vue 3: `import type {} from "sheetmargin-selector/vue"`.

import type { HTMLAttributes } from "vue";
import type { Entries, SheetSelectorAttributes, SheetSelectorEventMap } from "./selector.js";

// As a compiler of templates names them: `@sheet-selector:choose` is `onSheetSelector:choose`.
type Camel<K> = K extends `sheet-selector:${infer Name}` ? `onSheetSelector:${Name}` : never;
type Listeners = { [K in keyof SheetSelectorEventMap as Camel<K>]?: (event: SheetSelectorEventMap[K]) => void };

declare module "vue" {
  interface GlobalComponents {
    "sheet-selector": new () => { $props: HTMLAttributes & SheetSelectorAttributes & Listeners & { value?: Entries } };
  }
}
