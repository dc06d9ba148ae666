// Talking to the server: JSON, arrays, and the one shape of problems.

/** @typedef {{text: string, rule: string, file?: string|null, line?: number|null, value?: string|null, remedy?: string|null, field?: string|null}} Problem */

/** What the server says can't be done. */
export class ProblemError extends Error {
  /** @param {number} status @param {Problem} problem */
  constructor(status, problem) {
    super(problem.text);
    this.status = status;
    this.problem = problem;
  }
}

/** Folder of the survey that this page was filled for, as a header holds it; none on the start page. */
const own = document.body.dataset.survey ?? "";

/** The survey that this page belongs to; null on the start page. */
export const pageSurvey = own ? decodeURIComponent(own) : null;

/** What first.js asked; none on the start page. @type {{asked: Map<string, Promise<Response>>, begin: (path: string) => void}|undefined} */
const early = /** @type {any} */ (window).lodewalkEarly;

/** Ask for what the room is about to ask, while it is being filled. @param {string} path */
export function ahead(path) {
  if (early && !document.body.dataset.ready && !early.asked.has(path)) early.begin(path);
}

/** The mark of the survey that the early answers were made of; null where none was asked. @returns {Promise<string|null>} */
export async function earlyMark() {
  try {
    return (await (await early?.asked.get("survey"))?.clone().json())?.mark ?? null;
  } catch {
    return null;
  }
}

/** Early answers hold until the room is filled, or something changes. */
export function forget() {
  early?.asked.clear();
}

/**
 * @param {string} path below `/api/`
 * @param {RequestInit} [options]
 * @returns {Promise<Response>}
 */
async function ask(path, options) {
  let answer;
  const headers = { ...options?.headers, ...(own ? { "x-survey": own } : {}) };
  if (options?.method) forget();
  try {
    const first = await early?.asked.get(path)?.then((found) => found.clone()).catch(() => null);
    answer = first ?? (await fetch(`/api/${path}`, { credentials: "same-origin", ...options, headers }));
  } catch (error) {
    if (options?.signal?.aborted) throw error;
    const text = "lodewalk doesn't answer. Is it still running in its terminal? Start it again and open the new address.";
    throw new ProblemError(0, { text, rule: text });
  }
  if (answer.ok) return answer;
  const fallback = { problem: { text: `The server answered ${answer.status}.`, rule: "" } };
  const told = await answer.json().catch(() => fallback);
  throw new ProblemError(answer.status, (told.problem ? told : fallback).problem);
}

/** @param {string} path @param {Record<string, string|number|null|undefined>} [query] */
export function withQuery(path, query = {}) {
  const given = Object.entries(query).filter(([, value]) => value !== null && value !== undefined);
  const text = new URLSearchParams(given.map(([name, value]) => [name, String(value)])).toString();
  return text ? `${path}?${text}` : path;
}

/** @param {string} path @param {Record<string, string|number|null|undefined>} [query] @param {AbortSignal} [signal] */
export async function get(path, query, signal) {
  return (await ask(withQuery(path, query), { signal })).json();
}

/** @param {string} method @param {string} path @param {unknown} [body] */
export async function send(method, path, body) {
  const json = { headers: { "content-type": "application/json" }, body: JSON.stringify(body) };
  return (await ask(path, { method, ...(body === undefined ? {} : json) })).json();
}

/** @param {string} path @param {FormData} form @param {AbortSignal} [signal] */
export async function upload(path, form, signal) {
  return (await ask(path, { method: "POST", body: form, signal })).json();
}

/**
 * Columns of numbers: a header in JSON, then one array after the other.
 * @param {string} path @param {Record<string, string|number|null|undefined>} [query] @param {AbortSignal} [signal]
 * @returns {Promise<{about: any, columns: Record<string, Float32Array|Float64Array|Int32Array|Uint8Array>}>}
 */
export async function columns(path, query, signal) {
  const buffer = await (await ask(withQuery(path, query), { signal })).arrayBuffer();
  return unpacked(buffer);
}

/** @param {ArrayBuffer} buffer */
export function unpacked(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const about = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  const kinds = { f4: Float32Array, f8: Float64Array, i4: Int32Array, u1: Uint8Array };
  let place = 4 + length;
  place += (8 - (place % 8)) % 8;
  /** @type {Record<string, any>} */
  const found = {};
  for (const { name, type, count } of about.columns) {
    const Kind = kinds[/** @type {"f4"|"f8"|"i4"|"u1"} */ (type)];
    found[name] = new Kind(buffer, place, count);
    place += Kind.BYTES_PER_ELEMENT * count;
    place += (8 - (place % 8)) % 8;
  }
  return { about, columns: found };
}

/** Answers out of order: only the latest choice of a kind counts. */
export class Latest {
  constructor() {
    this.number = 0;
    /** @type {AbortController|null} */
    this.asking = null;
  }

  /** @template T @param {(signal: AbortSignal) => Promise<T>} work @returns {Promise<T|undefined>} */
  async take(work) {
    const mine = ++this.number;
    this.asking?.abort();
    this.asking = new AbortController();
    try {
      const found = await work(this.asking.signal);
      return mine === this.number ? found : undefined;
    } catch (error) {
      if (mine !== this.number) return undefined;
      throw error;
    }
  }
}
