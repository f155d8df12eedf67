/**
 * Asks a Platen Accord service: can this order be done, and how. For Node, and for pages with a storefront's key.
 *
 *     import { Accord, workable } from "platen-accord-client";
 *     const accord = new Accord("https://accord.example", token);
 *     const verdict = await accord.validate(order);
 *     if (!workable(verdict)) console.log(verdict.findings[0].because);
 *
 * Answers are the service's documents as they come, frozen. Reading is strict about what is promised and lenient about
 * what may be added later, and a word that this client does not know counts as the worst.
 */

export const VERSION = "0.1.0";

const JSON_MEDIA = "application/json";
const NDJSON = "application/x-ndjson";
const PROBLEM = "application/problem+json";
// A service takes at least this much of a body before its answers are read (1 MiB).
const SLICE_BYTES = 256 * 1024;
const SILENCE_S = 10;
// Lines wait for their turn behind others', which have some seconds each.
const TURN_SILENCE_S = 60;
const PASSING = new Set([429, 502, 503, 504]);
const REDIRECTS = new Set([301, 302, 303, 307, 308]);
const MOST_REDIRECTS = 3;
const FIRST_WAIT_S = 0.25;
const LONGEST_WAIT_S = 20;
const IS_NODE = typeof globalThis.process?.versions?.node === "string";

// -- what can go wrong ------------------------------------------------------------------------------------------------

/** Anything that keeps this client from giving an answer. */
export class AccordError extends Error {}

/** A plain http address that is not this machine's own: whoever is on the way could read the token. */
export class UnsafeAddress extends AccordError {}

/** A document that JSON can't hold, such as one with NaN or a Set in it. It was not sent. */
export class NotJson extends AccordError {}

/** No connection to the service, or it broke before the whole answer had come. */
export class ConnectionFailed extends AccordError {}

/** The service did not answer in time. */
export class TimedOut extends AccordError {}

/** An answer that this client cannot vouch for. It is never passed on as if it were a verdict. */
export class BadAnswer extends AccordError {}

/** The service refused (RFC 9457). `problem` is its whole document, `errors` the faults it found in the request. */
export class ProblemError extends AccordError {
  constructor(status, problem, retryAfterS = null) {
    super(`${status}: ${problem.detail || problem.title || "no reason given"}`);
    this.status = status;
    this.problem = problem;
    this.errors = Object.freeze(faultsOf(problem.errors));
    this.retryAfterS = retryAfterS;
  }

  get title() {
    return String(this.problem.title ?? "");
  }

  /** What to tell whoever runs the service. */
  get requestId() {
    return String(this.problem.request_id ?? "");
  }
}

/** The order is not one the service can read: each of `errors` names a field and what is allowed. */
export class InvalidOrder extends ProblemError {}

/** The key is missing, unknown, or of a role that may not do this. */
export class NotAuthorised extends ProblemError {}

/** There is nothing of this name. */
export class NotFound extends ProblemError {}

/** Asked too often; `retryAfterS` says when to come back, if the service said so. */
export class TooManyRequests extends ProblemError {}

/** The service, or what stands before it, failed: press nothing on a guess. */
export class ServiceFault extends ProblemError {}

// Not taken from the classes, whose names a bundler may shorten.
const NAMED = {
  AccordError, UnsafeAddress, NotJson, ConnectionFailed, TimedOut, BadAnswer, ProblemError, InvalidOrder, NotAuthorised,
  NotFound, TooManyRequests, ServiceFault,
};
for (const [name, kind] of Object.entries(NAMED)) Object.defineProperty(kind.prototype, "name", { value: name });

const BY_STATUS = new Map([[401, NotAuthorised], [403, NotAuthorised], [404, NotFound], [429, TooManyRequests]]);
const OF_AN_ORDER = new Set([400, 413, 415, 422]);

function problemError(status, problem, toAnOrder, retryAfterS = null) {
  const kind = status >= 500 ? ServiceFault : BY_STATUS.get(status) ?? ProblemError;
  return new (toAnOrder && OF_AN_ORDER.has(status) ? InvalidOrder : kind)(status, problem, retryAfterS);
}

/** What of `errors` can be read: a gateway's own problem document may hold anything there. */
function faultsOf(errors) {
  return (Array.isArray(errors) ? errors : []).filter(isObject).map((error) =>
    Object.freeze({
      pointer: typeof error.pointer === "string" ? error.pointer : null,
      message: String(error.message ?? ""),
      allowed: Object.freeze((Array.isArray(error.allowed) ? error.allowed : []).map(String)),
      code: String(error.code ?? ""),
      in: String(error.in ?? "body"),
      name: typeof error.name === "string" ? error.name : null,
      allowed_left_out: Number.isInteger(error.allowed_left_out) ? error.allowed_left_out : 0,
    }),
  );
}

// -- what an answer means ---------------------------------------------------------------------------------------------

const WORKABLE = new Set(["accepted", "conditional"]);
const PASSABLE = new Set(["requires", "cautions", "notes"]);

/** Whether a verdict, a press's verdict or a plan is accepted, or accepted if its conditions are met.
 *
 * No for everything else: a word that this client does not know, and what is no verdict at all.
 */
export function workable(verdict) {
  return WORKABLE.has(verdict?.verdict);
}

/** Whether a finding stands against the order; so does a level that this client does not know. */
export function blocks(finding) {
  return !PASSABLE.has(finding?.level);
}

/** What comes of the order on the press that the verdict speaks of. Throws BadAnswer. */
export function judgedOn(verdict) {
  const found = verdict.presses.find((each) => each.press === verdict.judged_on);
  if (found === undefined) {
    throw new BadAnswer(`the verdict was judged on ${shown(verdict.judged_on)}, of which it says nothing`);
  }
  return found;
}

// -- the client -------------------------------------------------------------------------------------------------------

/**
 * Asks one service on behalf of one shop; the token alone says whose presses and stock are meant.
 *
 * Throws UnsafeAddress if the token would go over plain http to another machine, TypeError for an address or token that
 * can't be used. Messages never repeat the token, and nothing that prints a client shows it.
 */
export class Accord {
  #base;
  #token;
  #silenceS;
  #retries;
  #sleep;
  #fetch;

  constructor(baseUrl, token, options = {}) {
    this.#base = baseAddress(baseUrl, options.allowInsecure === true);
    this.#token = checkedToken(token);
    this.#silenceS = options.silenceS ?? SILENCE_S;
    this.#retries = options.retries ?? 2;
    this.#sleep = options.sleep ?? ((seconds) => new Promise((done) => setTimeout(done, seconds * 1000)));
    this.#fetch = options.fetch ?? ((url, init) => globalThis.fetch(url, init));
  }

  /** The service's address. */
  get baseUrl() {
    return this.#base;
  }

  // Orders

  async validate(order, { include = [] } = {}) {
    return readVerdict(await this.#post("/v1/validate", order, { include: include.join(",") }));
  }

  /** Any number of orders; answers come in their order, as they are worked out, all of one revision. */
  async *validateAll(orders, { firstLine = 1, revision = null } = {}) {
    const state = { line: firstLine, revision };
    for await (const slice of slicesOf(orders)) yield* this.#slice(slice, state);
  }

  async recommend(order, { plans = null, include = [] } = {}) {
    const query = { plans: plans === null ? "" : String(plans), include: include.join(",") };
    return read(await this.#post("/v1/recommend", order, query), RECOMMENDATION, "the recommendation");
  }

  async envelope(order) {
    return read(await this.#post("/v1/envelope", order), ENVELOPE, "the envelope");
  }

  // The book

  kinds() {
    return this.#pages("/v1/catalogue", KIND, "a kind");
  }

  catalogue(kind) {
    return this.#pages(`/v1/catalogue/${segment(kind)}`, ENTRY, "an entry");
  }

  async entry(kind, id) {
    return read(await this.#get(`/v1/catalogue/${segment(kind)}/${segment(id)}`), ENTRY, "an entry");
  }

  rules({ topic = "", level = "" } = {}) {
    return this.#pages(`/v1/rules${queryOf({ topic, level })}`, RULE_LINE, "a rule");
  }

  async rule(id) {
    return read(await this.#get(`/v1/rules/${segment(id)}`), RULE, "a rule");
  }

  limits() {
    return this.#pages("/v1/limits", ENTRY, "a limit");
  }

  async limit(id) {
    return read(await this.#get(`/v1/limits/${segment(id)}`), ENTRY, "a limit");
  }

  // Records

  async record(order, { idempotencyKey = null, validateOnly = false } = {}) {
    return read(await this.#write("/v1/records", order, idempotencyKey, validateOnly), RECORD, "the record");
  }

  async reportOutcome(recordId, outcome, { idempotencyKey = null, validateOnly = false } = {}) {
    const path = `/v1/records/${segment(recordId)}/outcomes`;
    return read(await this.#write(path, outcome, idempotencyKey, validateOnly), OUTCOME, "the report");
  }

  // The service

  async shop() {
    const response = await this.#answered({ method: "GET", url: `${this.#base}/v1/shop` });
    return Object.freeze({ document: documentOf(response), etag: response.headers.get("ETag") ?? "" });
  }

  async shopStatus() {
    return this.#get("/v1/shop/status");
  }

  async index() {
    return this.#get("/v1");
  }

  /** "Not ready" is an answer; only silence is an exception. */
  async health() {
    const response = await this.#answered({ method: "GET", url: `${this.#base}/readyz`, alsoAnswers: [503] });
    const document = documentOf(response);
    const known = document.status === "ready" || document.status === "degraded";
    return Object.freeze({ ready: known, status: String(document.status ?? ""), document });
  }

  // Inside

  async #get(path) {
    return documentOf(await this.#answered({ method: "GET", url: this.#base + path }));
  }

  async #post(path, order, query = {}) {
    const url = this.#base + path + queryOf(query);
    return documentOf(await this.#answered({ method: "POST", url, body: encoded(order) }));
  }

  async #write(path, document, idempotencyKey, validateOnly) {
    const url = this.#base + path + (validateOnly ? "?validate_only=true" : "");
    const headers = { "Idempotency-Key": idempotencyKey ?? onceKey() };
    const ask = { method: "POST", url, body: encoded(document), headers, alsoAnswers: [201, 202] };
    return documentOf(await this.#answered(ask));
  }

  async *#pages(address, shape, what) {
    let following = address;
    while (following !== null) {
      const page = await this.#get(following);
      if (!Array.isArray(page.entries)) throw new BadAnswer("the answer has no entries as promised");
      for (const entry of page.entries) yield read(entry, shape, what);
      following = nextOf(page, following);
    }
  }

  /** The answers to a slice, gone on with from its first line without one where a connection or a turn ends. */
  async *#slice(slice, state) {
    let [left, tries] = [slice, 0];
    while (left.length > 0) {
      let done = 0;
      try {
        for await (const line of this.#linesOf(left, state)) {
          if (line.end === true) break;
          const given = answeredLine(line, left[done].order);
          state.revision = given.revision ?? state.revision;
          done += 1;
          yield given;
        }
      } catch (error) {
        if (!(error instanceof ConnectionFailed)) throw error;
        tries = done > 0 ? 1 : tries + 1;
        if (!(await this.#waited(tries, null))) throw error;
      }
      left = left.slice(done);
      state.line += done;
    }
  }

  /** The lines that answer orders, to the end or to the line that their turn ended with. */
  async *#linesOf(orders, state) {
    const first = state.line;
    let expected = first;
    for await (const line of this.#lines(orders, state)) {
      if (line.end === true) {
        if (expected === first && line.next_line === first) {
          throw new ConnectionFailed("the service ended its answer before the first line");
        }
        state.revision = whole(line, "revision");
        yield line;
        return;
      }
      if (line.line !== expected || expected === first + orders.length) {
        throw new BadAnswer(`line ${expected} was to be answered, and the answer is to line ${shown(line.line)}`);
      }
      yield line;
      expected += 1;
    }
    throw new ConnectionFailed("the answer was cut: it has no last line");
  }

  async *#lines(orders, { line, revision }) {
    const url = `${this.#base}/v1/validate/batch${queryOf({ first_line: String(line), revision: revision ?? "" })}`;
    const headers = { "Content-Type": NDJSON, Accept: `${NDJSON}, ${PROBLEM}` };
    const body = joined(orders.map((each) => each.bytes));
    const ask = { method: "POST", url, body, headers, silenceS: TURN_SILENCE_S, streamed: true };
    const response = await this.#answered(ask);
    try {
      if (mediaOf(response) !== NDJSON) throw wrongMedia(response, NDJSON);
      for await (const text of textLines(response)) {
        const document = objectIn(text);
        if (document === null) throw new BadAnswer(`${url} answered with a line that is not a JSON object`);
        yield document;
      }
    } finally {
      response.close();
    }
  }

  /** An answer with status 200 or one that is wanted as well; asked again as `#waited` says. */
  async #answered({ method, url, body, headers = {}, alsoAnswers = [], silenceS = this.#silenceS, streamed = false }) {
    for (let tries = 1; ; tries += 1) {
      let response;
      try {
        response = await this.#followed(method, url, body, headers, silenceS, streamed);
      } catch (error) {
        if (!(error instanceof ConnectionFailed) || !(await this.#waited(tries, null))) throw error;
        continue;
      }
      const wanted = alsoAnswers.includes(response.status) && mediaOf(response) === JSON_MEDIA;
      if (response.status === 200 || wanted) return response;
      if (streamed) await response.readWhole();
      const waitS = retryAfterS(response.headers.get("Retry-After"));
      // A write that is still under way after its connection was lost: 409, but to be asked for again.
      const passing = PASSING.has(response.status) || (response.status === 409 && waitS !== null);
      if (!passing || !(await this.#waited(tries, waitS))) throw refusal(response, waitS, method === "POST");
    }
  }

  /** Reads may be sent on, but only within the service: the token goes to no other place. */
  async #followed(method, url, body, headers, silenceS, streamed) {
    let at = url;
    for (let hops = 0; hops <= MOST_REDIRECTS; hops += 1) {
      const response = await this.#send(method, at, body, headers, silenceS, streamed);
      if (response.type === "opaqueredirect") throw new BadAnswer(`${at} is not the service's address: it points on`);
      if (!REDIRECTS.has(response.status)) return response;
      const onward = onwardOf(response.headers.get("Location"), at);
      if (method !== "GET" || onward === null || originOf(onward) !== originOf(url)) {
        throw new BadAnswer(`${at} is not the service's address: it points on to ${String(onward).slice(0, 200)}`);
      }
      response.close();
      at = onward;
    }
    throw new BadAnswer(`${url} points on without end`);
  }

  async #send(method, url, body, headers, silenceS, streamed) {
    const watch = new Silence(silenceS);
    const sent = { Accept: `${JSON_MEDIA}, ${PROBLEM}`, Authorization: `Bearer ${this.#token}` };
    if (IS_NODE) sent["User-Agent"] = `platen-accord-client-js/${VERSION}`; // a page's browser says its own
    if (body !== undefined) sent["Content-Type"] = JSON_MEDIA;
    const init = { method, body, headers: { ...sent, ...headers }, signal: watch.signal, ...FETCHED_AS };
    try {
      const response = new Answer(await this.#fetch(url, init), url, watch);
      watch.heard();
      if (!streamed) await response.readWhole();
      return response;
    } catch (error) {
      watch.stop();
      throw failed(url, error, watch);
    }
  }

  /** Waits before another try; false, at once, if that is no use. */
  async #waited(tries, askedS) {
    if (tries > this.#retries || (askedS !== null && askedS > LONGEST_WAIT_S)) return false;
    const backoffS = Math.min(FIRST_WAIT_S * 2 ** (tries - 1), LONGEST_WAIT_S);
    // Jitter, so that many shops whose service comes back do not all ask in the same instant.
    await this.#sleep(Math.max(askedS ?? 0, backoffS * (0.5 + Math.random() / 2)));
    return true;
  }
}

// Nothing of the browser's own goes along, nothing is kept, and where an answer points is looked at first.
const FETCHED_AS = Object.freeze({
  redirect: "manual", credentials: "omit", cache: "no-store", referrerPolicy: "no-referrer",
});

// -- one answer over HTTP ---------------------------------------------------------------------------------------------

/** Ends a request when the service was silent for too long. */
class Silence {
  #controller = new AbortController();
  #timer;

  constructor(seconds) {
    this.seconds = seconds;
    this.broken = false;
    this.heard();
  }

  get signal() {
    return this.#controller.signal;
  }

  heard() {
    this.stop();
    this.#timer = setTimeout(() => {
      this.broken = true;
      this.#controller.abort();
    }, this.seconds * 1000);
  }

  stop() {
    clearTimeout(this.#timer);
  }

  end() {
    this.stop();
    this.#controller.abort();
  }
}

/** A response whose body is read under a watch for silence. */
class Answer {
  #response;
  #watch;

  constructor(response, url, watch) {
    this.#response = response;
    this.#watch = watch;
    this.url = url;
    this.text = "";
  }

  get status() {
    return this.#response.status;
  }

  get type() {
    return this.#response.type;
  }

  get headers() {
    return this.#response.headers;
  }

  async readWhole() {
    const decode = decoderOf(this.url);
    let text = "";
    for await (const bytes of this.chunks()) text += decode(bytes);
    this.text = text + decode();
  }

  /** Throws this client's own errors. */
  async *chunks() {
    const reader = this.#response.body?.getReader();
    try {
      while (reader !== undefined) {
        this.#watch.heard();
        const { done, value } = await reader.read();
        this.#watch.stop(); // whoever takes the lines may take their time
        if (done) break;
        yield value;
      }
    } catch (error) {
      throw failed(this.url, error, this.#watch);
    } finally {
      this.#watch.stop();
    }
  }

  close() {
    this.#watch.end();
  }
}

/** Decodes chunk after chunk, and what is left without one. What is no UTF-8 is no answer. */
function decoderOf(url) {
  const decoder = new TextDecoder("utf-8", { fatal: true });
  return (bytes) => {
    try {
      return decoder.decode(bytes, { stream: bytes !== undefined });
    } catch {
      throw new BadAnswer(`${url} answered with something that is not UTF-8`);
    }
  };
}

async function* textLines(response) {
  const decode = decoderOf(response.url);
  let rest = "";
  for await (const bytes of response.chunks()) {
    const lines = (rest + decode(bytes)).split("\n");
    rest = lines.pop();
    yield* lines.filter((line) => line.trim() !== "");
  }
  rest += decode();
  if (rest.trim() !== "") yield rest;
}

/** This client's own error for what a request ended with. */
function failed(url, error, watch) {
  if (error instanceof AccordError) return error;
  if (watch.broken) return new TimedOut(`no answer from ${originOf(url)} within ${watch.seconds} s`);
  const cause = innermost(error);
  if (String(cause.code ?? "").startsWith("HPE_")) {
    return new BadAnswer(`${originOf(url)} did not answer as a web server does: ${cause.message}`);
  }
  const why = cause.message || cause.code || "no reason given";
  return new ConnectionFailed(`no connection to ${originOf(url)}, or it broke: ${why}`);
}

function innermost(error) {
  let inner = error;
  while (inner.cause instanceof Error) inner = inner.cause;
  return inner;
}

function documentOf(response) {
  if (mediaOf(response) !== JSON_MEDIA) throw wrongMedia(response, JSON_MEDIA);
  const document = objectIn(response.text);
  if (document === null) throw new BadAnswer(`${response.url} answered with something that is not a JSON object`);
  return document;
}

function wrongMedia(response, wanted) {
  return new BadAnswer(`${response.url} answered with ${mediaOf(response) || "no media type"}, not ${wanted}`);
}

function refusal(response, waitS, toAnOrder) {
  const problem = mediaOf(response) === PROBLEM ? objectIn(response.text) : null;
  // From a gateway before the service, say; the status is all there is to go by.
  const bare = { type: "about:blank", title: "Error", status: response.status };
  return problemError(response.status, problem ?? frozen(bare), toAnOrder, waitS);
}

function objectIn(text) {
  try {
    const document = JSON.parse(text);
    return isObject(document) ? frozen(document) : null;
  } catch {
    return null; // no JSON, or nested beyond measure: said by the caller, who knows what was asked
  }
}

function mediaOf(response) {
  return (response.headers.get("Content-Type") ?? "").split(";", 1)[0].trim().toLowerCase();
}

/** The header Retry-After in seconds from now; null if it is missing or can't be read. */
function retryAfterS(header) {
  const text = (header ?? "").trim();
  if (/^[0-9]+$/.test(text)) return Number(text);
  const then = /^[A-Z][a-z]{2},/.test(text) ? Date.parse(text) : NaN;
  return Number.isNaN(then) ? null : Math.max(0, (then - Date.now()) / 1000);
}

// -- where, and who ---------------------------------------------------------------------------------------------------

function checkedToken(token) {
  if (typeof token !== "string" || !/^[!-~]+$/.test(token)) {
    throw new TypeError("the token must be one word of printable ASCII characters");
  }
  return token;
}

function baseAddress(url, allowInsecure) {
  const parts = parsedUrl(String(url).trim());
  if (parts === null || !["http:", "https:"].includes(parts.protocol)) {
    throw new TypeError("this is no address of a service: write it as https://host or http://127.0.0.1:8080");
  }
  if (parts.username || parts.password || parts.search || parts.hash) {
    throw new TypeError("the address must have no user name, query or fragment");
  }
  if (parts.protocol === "http:" && !allowInsecure && !isThisMachine(parts.hostname)) {
    throw new UnsafeAddress(`${parts.hostname} is another machine: the token may only go there over https`);
  }
  return parts.origin + parts.pathname.replace(/\/+$/, "");
}

/** A name may point elsewhere tomorrow, but for the one that never may (RFC 6761 section 6.3). */
function isThisMachine(host) {
  return host === "localhost" || host === "[::1]" || /^127(\.[0-9]{1,3}){3}$/.test(host);
}

function parsedUrl(url, base = undefined) {
  try {
    return new URL(url, base);
  } catch {
    return null; // said by the caller, in its own words
  }
}

function originOf(url) {
  return new URL(url).origin;
}

function onwardOf(location, at) {
  return location === null ? null : (parsedUrl(location, at)?.href ?? null);
}

/** A name as one step of a path. */
function segment(name) {
  if (typeof name !== "string" || ["", ".", ".."].includes(name)) throw new TypeError(`${shown(name)} is no name`);
  return encodeURIComponent(name);
}

function queryOf(wanted) {
  const given = Object.entries(wanted).filter(([, value]) => value !== "");
  return given.length === 0 ? "" : `?${new URLSearchParams(given)}`;
}

/** A word that no other write has. It keeps no secret, so where there is no crypto (Node 18) it need not come from it. */
function onceKey() {
  const drawn = () => Math.random().toString(36).slice(2);
  return globalThis.crypto?.randomUUID?.() ?? Array.from({ length: 4 }, drawn).join("");
}

/** The next page's address: always a path on the same service, so the token goes nowhere else. */
function nextOf(page, now) {
  const following = page.next ?? null;
  if (following === null) return null;
  if (typeof following !== "string" || !following.startsWith("/v1/") || following === now) {
    throw new BadAnswer(`the next page is said to be at ${shown(following)}, which can't be`);
  }
  return following;
}

// -- what is sent -----------------------------------------------------------------------------------------------------

const ENCODER = new TextEncoder();

/** JSON.stringify turns what JSON can't hold into null or nothing; an order would then say something else. A word or a
 * list is JSON, and what is wrong with it the service says. */
function encoded(document) {
  if (document === undefined) throw new NotJson("this can't be sent as JSON: it is undefined");
  try {
    return ENCODER.encode(JSON.stringify(document, refuseNoData));
  } catch (error) {
    if (error instanceof NotJson) throw error;
    throw new NotJson(`this can't be sent as JSON: ${error.message}`);
  }
}

function refuseNoData(key, value) {
  const isNoData =
    (typeof value === "number" && !Number.isFinite(value)) ||
    ["bigint", "function", "symbol"].includes(typeof value) ||
    (value === undefined && Array.isArray(this)) ||
    (isObject(value) && Object.prototype.toString.call(value) !== "[object Object]"); // a Map, say, would come to {}
  if (isNoData) throw new NotJson(`this can't be sent as JSON: ${shown(key)} is ${kindOf(value)}`);
  return value;
}

function kindOf(value) {
  if (typeof value === "number") return String(value);
  return isObject(value) ? `a ${value.constructor?.name ?? "thing of its own"}` : typeof value;
}

/** Slices of the orders, each with its line. What taking or encoding an order throws comes behind the slice of those
 * before it. */
async function* slicesOf(orders) {
  let [slice, size] = [[], 0];
  const encodedOrders = encodedOf(orders);
  let failure = null;
  try {
    for (;;) {
      let next;
      try {
        next = await encodedOrders.next();
      } catch (error) {
        failure = { error };
      }
      if (failure !== null || next.done) break;
      const { order, bytes } = next.value;
      if (slice.length > 0 && size + bytes.length + 1 > SLICE_BYTES) {
        yield slice;
        [slice, size] = [[], 0];
      }
      slice.push({ order, bytes });
      size += bytes.length + 1;
    }
    if (slice.length > 0) yield slice;
  } finally {
    await encodedOrders.return();
  }
  if (failure !== null) throw failure.error;
}

async function* encodedOf(orders) {
  for await (const order of orders) yield { order, bytes: encoded(order) };
}

function joined(lines) {
  const body = new Uint8Array(lines.reduce((size, line) => size + line.length + 1, 0));
  let at = 0;
  for (const line of lines) {
    body.set(line, at);
    body[at + line.length] = 10;
    at += line.length + 1;
  }
  return body;
}

// -- what is read -----------------------------------------------------------------------------------------------------

// Field to what is promised of it: a type, "?" where it may be null, [shape] for a list, an object for an object.
const TEXT = "string";
const TEXTS = [TEXT];
const FINDING = {
  rule: TEXT, level: TEXT, pointer: TEXT, title: TEXT, because: TEXT, fix: TEXT, limit: "object", sources: TEXTS,
  layer: TEXT,
};
const CHANGE = { pointer: TEXT };
const REMEDY = { changes: [CHANGE], verdict: TEXT, text: TEXT, cost: "number" };
const NEED = { pointer: TEXT, type: TEXT, allowed: "array", question: TEXT, decides: TEXTS };
const ASSUMPTION = { pointer: TEXT, shown: TEXT, why: TEXT, could_hurt: "boolean" };
const PRESS = {
  press: TEXT, press_title: TEXT, verdict: TEXT, settings: "array?", pressings: "array?", titles: "object",
  sequence: "array?", blocked_by: TEXTS, because: "string?",
};
const VERDICT = {
  id: TEXT, verdict: TEXT, unsaid: "string?", revision: "number", digest: TEXT, house_digest: TEXT, basis: TEXT,
  judged_on: TEXT, presses: [PRESS], findings: [FINDING], conditions: TEXTS, samples: "array", needs: [NEED],
  assumed: [ASSUMPTION], remedies: [REMEDY], remedies_complete: "boolean", reference: "string?",
};
const STEP = { id: TEXT, stage: TEXT, text: TEXT };
const DECORATION = { transfer: TEXT, title: TEXT, settings: "object", stacks: "array", steps: [STEP] };
const PLAN = {
  rank: "number", unsaid: "string?", press: TEXT, press_title: TEXT, order: "object", decorations: [DECORATION],
  sequence: "array", cautions: TEXTS, conditions: TEXTS, reasons: TEXTS, verdict: TEXT, verdict_id: TEXT,
};
const RULED_OUT = { press: "string?", transfers: TEXTS, titles: TEXTS, findings: [FINDING] };
const RESTS_ON = { revision: "number", digest: TEXT, house_digest: TEXT, basis: TEXT };
const LEFT_OUT = { ruled_out: [RULED_OUT], ruled_out_left_out: "number", needs: [NEED], complete: "boolean" };
const RECOMMENDATION = { ...RESTS_ON, plans: [PLAN], ...LEFT_OUT };
const ENVELOPE = { ...RESTS_ON, presses: TEXTS, transfers: [TEXTS], on: ["object"], ...LEFT_OUT };
const KIND = { kind: TEXT, description: TEXT, count: "number" };
const ENTRY = { id: TEXT, entry: "object" };
const RULE_LINE = { id: TEXT, topic: TEXT, level: TEXT, title: TEXT };
const RULE = { id: TEXT, topic: TEXT, level: TEXT, limits: TEXTS, sources: TEXTS, entry: "object" };
const RECORD = { record_id: "string?" };
const OUTCOME = { outcome_id: "string?" };

function readVerdict(document) {
  return read(withheld(document), VERDICT, "the verdict");
}

/** Settings of a press on which the order may not be done are never passed on, whatever was sent: a hasty tool would
 * print them. */
function withheld(document) {
  if (!isObject(document) || !Array.isArray(document.presses)) return document;
  const presses = document.presses.map((press) =>
    !isObject(press) || (workable(press) && workable(document))
      ? press
      : { ...press, settings: null, pressings: null, sequence: null },
  );
  return { ...document, presses };
}

/** The document, frozen, if it has all that is promised. Throws BadAnswer naming what is missing or of another type. */
function read(document, shape, what) {
  if (!isObject(document)) throw new BadAnswer(`${what} is not an object`);
  for (const [name, promised] of Object.entries(shape)) {
    if (!fits(document[name], promised)) throw new BadAnswer(`${what} has no ${name} as promised`);
  }
  return frozen(document);
}

function fits(value, promised) {
  if (Array.isArray(promised)) return Array.isArray(value) && value.every((each) => fits(each, promised[0]));
  if (typeof promised === "object") {
    return isObject(value) && Object.entries(promised).every(([name, inner]) => fits(value[name], inner));
  }
  if (promised.endsWith("?")) return value === null || fits(value, promised.slice(0, -1));
  if (promised === "array") return Array.isArray(value);
  return promised === "object" ? isObject(value) : typeof value === promised;
}

function answeredLine(document, order) {
  const [line, status] = [whole(document, "line"), whole(document, "status")];
  if (isObject(document.problem)) {
    const problem = problemError(status, document.problem, true);
    return Object.freeze({ line, order, revision: null, verdict: null, problem });
  }
  const verdict = readVerdict(document.answer);
  return Object.freeze({ line, order, revision: verdict.revision, verdict, problem: null });
}

function whole(document, name) {
  if (Number.isInteger(document[name])) return document[name];
  throw new BadAnswer(`a line of the answer has no ${name} as promised: ${JSON.stringify(document).slice(0, 80)}`);
}

/** Frozen all through; what is frozen already was frozen here. */
function frozen(value) {
  if (Object.isFrozen(value)) return value;
  Object.values(value).forEach(frozen);
  return Object.freeze(value);
}

function isObject(value) {
  return typeof value === "object" && value !== null && !Array.isArray(value);
}

function shown(value) {
  return (JSON.stringify(value) ?? String(value)).slice(0, 80);
}
