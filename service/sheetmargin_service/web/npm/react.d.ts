// JSX of React 19 and later: `import type {} from "sheetmargin-selector/react"`.

import type { DetailedHTMLProps, HTMLAttributes } from "react";
import type { Entries, SheetSelector, SheetSelectorAttributes, SheetSelectorEventMap } from "./selector.js";

type Listeners = { [K in keyof SheetSelectorEventMap as `on${K}`]?: (event: SheetSelectorEventMap[K]) => void };
type Props = DetailedHTMLProps<HTMLAttributes<SheetSelector>, SheetSelector> & SheetSelectorAttributes & Listeners & { value?: Entries };

declare module "react" {
  namespace JSX {
    interface IntrinsicElements {
      "sheet-selector": Props;
    }
  }
}
