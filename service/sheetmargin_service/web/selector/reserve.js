// How much room a set-up leaves, on one scale for every principle: how many times rarer its misreads are than the targets
// accept, by the upper end of what the answer tells. Of 1 and more every target is met with the chance of a suitable one.

/**
 * The least multiple over the sheets of a recommendation, `times`, and whether it may be larger since the misreads are too rare to
 * be resolved, `least`; `targets` are those of the answer, per million.
 */
export function reserveOf({ sheets }, targets) {
  const all = sheets.flatMap(({ misread_ppm: misreads }) => Object.entries(targets).map(([kind, target]) => {
    const { estimate = 0, high = Infinity, floored = false } = misreads[kind] ?? {};
    return { times: target / (high ?? Infinity), least: isFloored({ estimate, high, floored }) };
  }));
  return all.sort((a, b) => a.times - b.times)[0];
}

/** Whether no more is known of misreads than that they are as rare as is resolved, or rarer. */
export const isFloored = ({ estimate, high, floored }) => floored && high === estimate;

/** Targets that an answer was judged by: what the job gives, and what was assumed. */
export function targetsOf({ job, assumptions }) {
  const assumed = assumptions.filter(({ pointer }) => pointer?.startsWith("/targets/")).map(({ pointer, value }) => [pointer.split("/")[2], value]);
  return { ...Object.fromEntries(assumed), ...job.targets };
}
