// How much room a set-up leaves, on one scale for every principle: how many times rarer its misreads are than the targets
// accept, by the upper end of what the answer tells. Of 1 and more every target is met with the chance of a suitable one.

/** The least multiple over the sheets of a recommendation; `targets` are those of the answer, per million. */
export function reserveOf({ sheets }, targets) {
  const multiples = sheets.flatMap(({ misread_ppm: misreads }) =>
    Object.entries(targets).map(([kind, target]) => target / (misreads[kind]?.high ?? Infinity)));
  return Math.min(...multiples);
}

/** Targets that an answer was judged by: what the job gives, and what was assumed. */
export function targetsOf({ job, assumptions }) {
  const assumed = assumptions.filter(({ pointer }) => pointer?.startsWith("/targets/")).map(({ pointer, value }) => [pointer.split("/")[2], value]);
  return { ...Object.fromEntries(assumed), ...job.targets };
}
