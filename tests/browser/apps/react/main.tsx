import { useState } from "react";
import { createRoot } from "react-dom/client";
import "sheetmargin-selector";
import type { Choice, ChosenLine, SheetSelector } from "sheetmargin-selector";
import type {} from "sheetmargin-selector/react";

const service = new URLSearchParams(location.search).get("service") ?? "";
const entries = { sheets: ["80 gsm copy paper"], known: {} };

function Shop() {
  const [lines, setLines] = useState<ChosenLine[]>([]);
  const [verdict, setVerdict] = useState("");
  const order = ({ detail }: CustomEvent<Choice>) => setLines(detail.order);
  return (
    <>
      <h1>Detectors</h1>
      <sheet-selector service={service} limit={2} reference="basket 17" value={entries} onsheet-selector:choose={order}
        onsheet-selector:result={(event) => setVerdict(event.detail.answer.verdict)}>
        <p>Call us.</p>
      </sheet-selector>
      <p id="verdict">{verdict}</p>
      <ul id="cart">{lines.map((line) => <li key={line.role}>{line.quantity} x {line.role}: {line.part_number ?? line.detector_class}</li>)}</ul>
    </>
  );
}

createRoot(document.querySelector("#shop")!).render(<Shop />);

// What the types promise of the element itself.
const element: SheetSelector | null = document.querySelector("sheet-selector");
element?.addEventListener("sheet-selector:error", (event) => console.log(event.detail.kind, event.detail.problem?.title));
document.addEventListener("sheet-selector:choose", (event) => console.log(event.detail.recommendation.rank));
// @ts-expect-error: a rank is a number
element?.choose("1");
