/** Asks a Platen Accord service: can this order be done, and how. Answers are the service's documents, frozen. */

export const VERSION: string;

/** An order as `/docs` on the service describes it. Quantities are strings with a unit: "383 °F", "280 mm". */
export type Order = Readonly<Record<string, unknown>>;
export type Document = Readonly<Record<string, unknown>>;

/** One rule's say about one part of the order. `level`: blocks, requires, cautions or notes; others may come. */
export interface Finding {
  readonly rule: string;
  readonly level: string;
  readonly pointer: string;
  /** Those it holds on; null for all that were judged. */
  readonly presses: readonly string[] | null;
  readonly title: string;
  readonly because: string;
  readonly fix: string;
  /** Only where it was asked for. */
  readonly observed?: Document | null;
  readonly limit: Document;
  readonly sources: readonly string[];
  readonly layer: string;
}

/** Something the order does not say that could change the verdict, and the question to ask. */
export interface Need {
  readonly pointer: string;
  readonly type: string;
  readonly allowed: readonly unknown[];
  readonly question: string;
  readonly decides: readonly string[];
}

/** Something the order does not say, and what was taken to hold. */
export interface Assumption {
  readonly pointer: string;
  readonly value: unknown;
  readonly shown: string;
  readonly why: string;
  readonly could_hurt: boolean;
}

/** One field of the order, from what it says to what would work; `to` null means leave it out. */
export interface Change {
  readonly pointer: string;
  readonly from: unknown;
  readonly to: unknown;
}

/** Changes with which the order can be done. */
export interface Remedy {
  readonly changes: readonly Change[];
  readonly verdict: string;
  readonly text: string;
  readonly cost: number;
}

/** The verdict on the whole order on one press. What is null is null unless the order is workable there. */
export interface PressVerdict {
  readonly press: string;
  readonly press_title: string;
  readonly verdict: string;
  readonly settings: readonly Document[] | null;
  readonly pressings: readonly (readonly string[])[] | null;
  readonly titles: Document;
  readonly sequence: readonly number[] | null;
  readonly blocked_by: readonly string[];
  readonly because: string | null;
}

/** A sample on the shop's record that stands for the order's own. */
export interface SampleLeanedOn {
  readonly id: string;
  readonly pressed_on: string;
  readonly pointer: string;
  readonly text: string;
  readonly lifts: readonly string[];
}

/** The answer to an order. `verdict`: accepted, conditional, undetermined or rejected; others may come. */
export interface Verdict {
  readonly id: string;
  readonly verdict: string;
  /** What was taken to hold and could hurt somebody if it does not: to be read first. */
  readonly unsaid: string | null;
  readonly revision: number;
  readonly digest: string;
  readonly house_digest: string;
  readonly basis: string;
  readonly judged_on: string;
  readonly presses: readonly PressVerdict[];
  readonly findings: readonly Finding[];
  readonly conditions: readonly string[];
  readonly samples: readonly SampleLeanedOn[];
  readonly needs: readonly Need[];
  readonly assumed: readonly Assumption[];
  readonly remedies: readonly Remedy[];
  /** If not, that there is no remedy proves nothing. */
  readonly remedies_complete: boolean;
  readonly reference: string | null;
}

/** What came of one order of many. `line` counts from 1; either `verdict` or `problem` is there. */
export interface AnsweredOrder {
  readonly line: number;
  readonly order: Order;
  readonly revision: number | null;
  readonly verdict: Verdict | null;
  readonly problem: ProblemError | null;
}

export interface PlannedDecoration {
  readonly transfer: string;
  readonly title: string;
  readonly settings: Document;
  readonly stacks: readonly Document[];
  readonly steps: readonly { readonly id: string; readonly stage: string; readonly text: string }[];
  readonly [more: string]: unknown;
}

/** One way to do the order; rank 1 is best. `order` is the order as this plan does it, ready to be sent. */
export interface Plan {
  readonly rank: number;
  readonly unsaid: string | null;
  readonly press: string;
  readonly press_title: string;
  readonly order: Order;
  readonly decorations: readonly PlannedDecoration[];
  readonly sequence: readonly number[];
  readonly cautions: readonly string[];
  readonly conditions: readonly string[];
  readonly reasons: readonly string[];
  readonly verdict: string;
  readonly verdict_id: string;
  readonly [more: string]: unknown;
}

export interface RuledOut {
  readonly press: string | null;
  readonly transfers: readonly string[];
  readonly titles: readonly string[];
  readonly findings: readonly Finding[];
}

export interface Recommendation {
  readonly revision: number;
  readonly digest: string;
  readonly house_digest: string;
  readonly basis: string;
  readonly plans: readonly Plan[];
  readonly ruled_out: readonly RuledOut[];
  readonly ruled_out_left_out: number;
  readonly needs: readonly Need[];
  readonly complete: boolean;
  readonly reference: string | null;
}

/** What is still allowed for what an order leaves open. */
export interface Envelope {
  readonly revision: number;
  readonly digest: string;
  readonly house_digest: string;
  readonly basis: string;
  readonly presses: readonly string[];
  readonly transfers: readonly (readonly string[])[];
  readonly on: readonly Document[];
  readonly ground: readonly Document[] | null;
  readonly ruled_out: readonly RuledOut[];
  readonly ruled_out_left_out: number;
  readonly needs: readonly Need[];
  readonly complete: boolean;
  readonly reference: string | null;
}

export interface Kind {
  readonly kind: string;
  readonly description: string;
  readonly count: number;
}

export interface Entry {
  readonly id: string;
  readonly entry: Document;
}

export interface RuleLine {
  readonly id: string;
  readonly topic: string;
  readonly level: string;
  readonly title: string;
}

export interface Rule {
  readonly id: string;
  readonly topic: string;
  readonly level: string;
  readonly limits: readonly string[];
  readonly sources: readonly string[];
  readonly entry: Document;
  readonly [more: string]: unknown;
}

/** A document with the ETag it has now. */
export interface Editable {
  readonly document: Document;
  readonly etag: string;
}

export interface Health {
  /** Degraded is not down. */
  readonly ready: boolean;
  readonly status: string;
  readonly document: Document;
}

/** One thing wrong with the request, and what would be allowed, nearest first. `in`: body, query, header or path. */
export interface Fault {
  /** In the body: a JSON Pointer, empty for all of it. */
  readonly pointer: string | null;
  readonly message: string;
  readonly allowed: readonly string[];
  readonly code: string;
  readonly in: string;
  /** Elsewhere: the parameter's or the header's name. */
  readonly name: string | null;
  readonly allowed_left_out: number;
}

export class AccordError extends Error {}
/** The token would go over plain http to another machine. */
export class UnsafeAddress extends AccordError {}
/** JSON can't hold it; it was not sent. */
export class NotJson extends AccordError {}
/** No connection, or it broke before the whole answer had come. */
export class ConnectionFailed extends AccordError {}
/** The service stayed silent for too long. */
export class TimedOut extends AccordError {}
/** Something answered, but not with what the service promises. */
export class BadAnswer extends AccordError {}
/** The service refused, and said why (RFC 9457). */
export class ProblemError extends AccordError {
  constructor(status: number, problem: Document, retryAfterS?: number | null);
  readonly status: number;
  readonly problem: Document;
  readonly errors: readonly Fault[];
  readonly retryAfterS: number | null;
  get title(): string;
  get requestId(): string;
}
/** 400, 413, 415, 422 to an order. */
export class InvalidOrder extends ProblemError {}
/** 401, 403. */
export class NotAuthorised extends ProblemError {}
/** 404. */
export class NotFound extends ProblemError {}
/** 429. */
export class TooManyRequests extends ProblemError {}
/** 5xx: not the caller's fault; press nothing on a guess. */
export class ServiceFault extends ProblemError {}

/** Accepted, or accepted if the conditions are met; no for a word that this client does not know, and for nothing. */
export function workable(verdict: { readonly verdict: string } | null | undefined): boolean;
/** Whether a finding stands against the order; so does a level that this client does not know. */
export function blocks(finding: { readonly level: string } | null | undefined): boolean;
/** What comes of the order on the press that the verdict speaks of. Throws BadAnswer. */
export function judgedOn(verdict: Verdict): PressVerdict;

export interface AccordOptions {
  /** How long the service may stay silent, in seconds; 10 when left out. */
  silenceS?: number;
  /** How often a question is asked again when the connection fails or the service is busy; 2 when left out. */
  retries?: number;
  /** Permits plain http to another machine, in a network that is trusted. */
  allowInsecure?: boolean;
  /** Waits between tries. */
  sleep?: (seconds: number) => Promise<void>;
  /** Another fetch, for a proxy say. */
  fetch?: typeof globalThis.fetch;
}

export interface Included {
  /** "observed": what each finding found; for plans also "curve". */
  include?: readonly string[];
}

export interface Written {
  /** One of your own for each job makes a repetition safe beyond this call, for 24 hours. */
  idempotencyKey?: string | null;
  /** Check everything, write nothing. */
  validateOnly?: boolean;
}

/** Asks one service on behalf of one shop. Throws UnsafeAddress, and TypeError for an unusable address or token. */
export class Accord {
  constructor(baseUrl: string, token: string, options?: AccordOptions);
  get baseUrl(): string;
  validate(order: Order, options?: Included): Promise<Verdict>;
  validateAll(
    orders: Iterable<Order> | AsyncIterable<Order>,
    options?: { firstLine?: number; revision?: number | null },
  ): AsyncGenerator<AnsweredOrder, void, void>;
  recommend(order: Order, options?: Included & { plans?: number | null }): Promise<Recommendation>;
  envelope(order: Order): Promise<Envelope>;
  kinds(): AsyncGenerator<Kind, void, void>;
  catalogue(kind: string): AsyncGenerator<Entry, void, void>;
  entry(kind: string, id: string): Promise<Entry>;
  rules(options?: { topic?: string; level?: string }): AsyncGenerator<RuleLine, void, void>;
  rule(id: string): Promise<Rule>;
  limits(): AsyncGenerator<Entry, void, void>;
  limit(id: string): Promise<Entry>;
  record(order: Order, options?: Written): Promise<Document>;
  reportOutcome(recordId: string, outcome: Document, options?: Written): Promise<Document>;
  shop(): Promise<Editable>;
  shopStatus(): Promise<Document>;
  index(): Promise<Document>;
  health(): Promise<Health>;
}
