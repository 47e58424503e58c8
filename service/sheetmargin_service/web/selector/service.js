// Asking the service: one request at a time for a purpose, remembered, given up after a while, its failures sorted.

const TIMEOUT_MS = 30_000;
const REMEMBERED = 60;

/** `kind`: invalid, refused, busy, failed, slow or unreachable; `errors` are those of the `problem` (RFC 9457). */
export class ServiceError extends Error {
  constructor(kind, { errors = [], requestId = null, retryAfter = null, problem = null } = {}) {
    super(kind);
    Object.assign(this, { kind, errors, requestId, retryAfter, problem });
  }
}

const KINDS = { 400: "invalid", 401: "refused", 403: "refused", 422: "invalid", 429: "busy", 503: "busy" };

export class Service {
  #answers = new Map();
  #running = new Map();

  /** Where it is, and the publishable key where it asks for one. */
  constructor(base, key) {
    this.base = base;
    this.key = key;
  }

  /** The answer to a request; one for the same `purpose` that still runs is aborted. Raises ServiceError or AbortError. */
  async ask(purpose, { path, query = {}, body = null }, language) {
    this.stop(purpose);
    const url = new URL(path, this.base);
    for (const [name, value] of Object.entries(query)) url.searchParams.set(name, value);
    const name = `${language} ${url} ${JSON.stringify(body)}`;
    if (this.#answers.has(name)) return this.#answers.get(name);
    const controller = new AbortController();
    this.#running.set(purpose, controller);
    try {
      const answer = await this.#fetch(url, body, language, controller);
      if (this.#answers.size >= REMEMBERED) this.#answers.delete(this.#answers.keys().next().value);
      this.#answers.set(name, answer);
      return answer;
    } finally {
      if (this.#running.get(purpose) === controller) this.#running.delete(purpose);
    }
  }

  /** Abort what runs for a purpose, or everything. */
  stop(purpose = null) {
    for (const [name, controller] of this.#running) if (purpose === null || purpose === name) controller.abort();
  }

  async #fetch(url, body, language, controller) {
    let late = false;
    const timer = setTimeout(() => {
      late = true;
      controller.abort();
    }, TIMEOUT_MS);
    // Accept and Accept-Language are safelisted: with them alone a GET needs no preflight. A publishable key rides in
    // the query for the same reason.
    const headers = { Accept: "application/json", "Accept-Language": language };
    if (body !== null) headers["Content-Type"] = "application/json";
    const address = new URL(url);
    if (this.key) address.searchParams.set("key", this.key);
    try {
      const response = await fetch(address, {
        method: body === null ? "GET" : "POST",
        body: body === null ? undefined : JSON.stringify(body),
        headers,
        signal: controller.signal,
        credentials: "omit",
        referrerPolicy: "no-referrer",
      });
      if (!response.ok) throw await failure(response);
      return await response.json();
    } catch (error) {
      if (late) throw new ServiceError("slow");
      if (error instanceof ServiceError || error.name === "AbortError") throw error;
      // No network, a refused origin and a broken answer look alike to a page: all come as a TypeError or SyntaxError.
      throw new ServiceError("unreachable");
    } finally {
      clearTimeout(timer);
    }
  }
}

async function failure(response) {
  const problem = await response.json().catch(() => ({}));
  const seconds = Number(response.headers.get("Retry-After"));
  return new ServiceError(KINDS[response.status] ?? "failed", {
    problem,
    errors: Array.isArray(problem.errors) ? problem.errors : [],
    requestId: problem.request_id ?? null,
    retryAfter: Number.isFinite(seconds) && seconds > 0 ? seconds : null,
  });
}
