// A quote in TypeScript. The types are made from the published description: a field that is misspelt does not compile.
import type { components } from "./sheetmargin.js";

type Job = components["schemas"]["JobInput"];
type Answer = components["schemas"]["Answer"];
type Problem = components["schemas"]["Problem"];

async function recommend(address: string, job: Job): Promise<Answer> {
  const response = await fetch(`${address}/v1/recommendations`, {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify(job),
  });
  if (!response.ok) {
    const problem = (await response.json()) as Problem;
    throw new Error(problem.errors.map((fault) => `${fault.pointer}: ${fault.detail}`).join("; ") || problem.detail);
  }
  return (await response.json()) as Answer;
}

const address = process.argv[2] ?? "http://127.0.0.1:8080";
const jobs: Job[] = [
  {
    reference: "Q-1",
    sheets: [{ material: "folding-boxboard", grammage_gsm: 300 }],
    line: { clearance_above_mm: 100, clearance_below_mm: 100 },
    limit: 1,
  },
  { reference: "Q-2", sheets: [{ material: "folding-boxboard", grammage_gsm: -300 }] },
];

for (const job of jobs) {
  try {
    const answer = await recommend(address, job);
    console.log(`${answer.reference}: ${answer.verdict}`);
    for (const setup of answer.recommendations[0]?.setups ?? []) {
      console.log(`  ${setup.detector_class.id} at a gap of ${setup.geometry.gap_mm?.nominal} mm; no safety device`);
      for (const part of setup.order_items) console.log(`  ${part.quantity} x ${part.part_number ?? part.role}`);
    }
  } catch (error) {
    console.log(`${job.reference}: ${(error as Error).message}`);
  }
}
