// From what was entered to what is asked: the job, and the request that carries it.

/** The job of the API's contract: sheets, what is known by pointer, and the shop's wishes; nothing that was not given. */
export function jobOf(sheets, known, { catalogue, limit }) {
  const job = { sheets: structuredClone(sheets), ...(catalogue ? { catalogue } : {}), ...(limit ? { limit } : {}) };
  for (const [pointer, value] of known) {
    const names = pointer.split("/").slice(1);
    const last = names.pop();
    const place = names.reduce((object, name) => (object[name] ??= {}), job);
    place[last] = value;
  }
  return job;
}

/**
 * The request for a job. One sheet of single values and no machine goes by GET, which caches may keep and browsers send
 * without asking first; everything else by POST.
 */
export function requestFor(job, language) {
  const { sheets, ...rest } = job;
  const single = sheets.length === 1 && Object.values(sheets[0]).every((value) => typeof value !== "object");
  if (single && Object.values(rest).every((value) => typeof value !== "object")) {
    return { path: "v1/recommendations", query: { ...sheets[0], ...rest, language } };
  }
  return { path: "v1/recommendations", body: job };
}

/** A set-up sheet's address: it carries the job, the choice, and the versions that it was chosen by. */
export function sheetLink(service, job, { rank, setup, answer, key, language }) {
  const url = new URL("v1/setup-sheets", service);
  url.searchParams.set("job", packed(job));
  url.searchParams.set("rank", rank);
  if (setup > 0) url.searchParams.set("setup", setup);
  url.searchParams.set("made_with", `${answer.model_version}.${answer.catalogue_version}`);
  url.searchParams.set("language", language);
  if (key) url.searchParams.set("key", key);
  return url.href;
}

/** JSON in the letters that survive every address field and mail: base64url of RFC 4648, without padding. */
export function packed(value) {
  const bytes = new TextEncoder().encode(JSON.stringify(value));
  const text = Array.from(bytes, (byte) => String.fromCharCode(byte)).join("");
  return btoa(text).replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
}

/** The JSON of such a text; null for anything else. */
export function unpacked(text) {
  try {
    const bytes = Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (letter) => letter.charCodeAt(0));
    return JSON.parse(new TextDecoder().decode(bytes));
  } catch {
    return null;
  }
}
