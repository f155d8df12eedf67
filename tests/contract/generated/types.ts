// The types of clients/javascript against the description of the service, by the compiler; and what they forbid.
//
// What is assigned below compiles only if the description promises every field that the hand-written type has, with its
// type. Lines under @ts-expect-error fail to compile if the types let them pass.

import {
  Accord,
  BadAnswer,
  InvalidOrder,
  ProblemError,
  blocks,
  judgedOn,
  workable,
  type AnsweredOrder,
  type Entry,
  type Envelope,
  type Fault,
  type Kind,
  type Order,
  type PressVerdict,
  type Recommendation,
  type Rule,
  type RuleLine,
  type Verdict,
} from "platen-accord-client";
import type { components } from "./schema";

type Described = components["schemas"];

export function promised(
  verdict: Described["Verdict"],
  recommendation: Described["Recommendation"],
  envelope: Described["Envelope"],
  rule: Described["Rule"],
  fault: Described["FaultDetails"],
): [Verdict, Recommendation, Envelope, Rule, Fault] {
  return [verdict, recommendation, envelope, rule, fault];
}

export function listed(
  kinds: Described["Catalogue"],
  entries: Described["CatalogueKind"],
  rules: Described["Rules"],
): [readonly Kind[], readonly Entry[], readonly RuleLine[]] {
  return [kinds.entries, entries.entries, rules.entries];
}

export async function forbidden(accord: Accord, verdict: Verdict, answered: AnsweredOrder, press: PressVerdict) {
  // @ts-expect-error an answer is frozen
  verdict.verdict = "accepted";
  // @ts-expect-error an order that was refused has no verdict
  answered.verdict.verdict;
  // @ts-expect-error without settings there is nothing to set
  press.settings[0];
  // @ts-expect-error an answer comes later
  accord.validate({}).verdict;
  // @ts-expect-error a verdict is asked about, not its word
  workable("accepted");
  // @ts-expect-error there is no such call
  accord.press();
  // @ts-expect-error seconds are a number
  new Accord("https://accord.example", "token", { silenceS: "10" });
  // @ts-expect-error many orders come one after the other
  (await accord.validateAll([])).length;
}

const [address, token] = process.argv.slice(2);
if (!address || !token) throw new Error("node types.js ADDRESS TOKEN");
const accord = new Accord(address, token);
const order: Order = {
  reference: "HL-1043",
  item: { blank: "tee-heavy-white" },
  decorations: [{ transfer: "dye-sublimation", placement: "front", size: { width: "11 in", height: "9 in" } }],
};
const verdict: Verdict = await accord.validate(order);
const on: PressVerdict = judgedOn(verdict);
if (workable(verdict) || workable(on) || on.settings !== null) throw new Error("dye holds on no cotton");
if (!verdict.findings.some(blocks)) throw new Error("nothing blocks, and it is rejected");
for await (const answered of accord.validateAll([order, {}])) {
  const problem: InvalidOrder | ProblemError | null = answered.problem;
  if ((answered.verdict === null) === (problem === null)) throw new Error("a verdict or a problem");
  const fault: Fault | undefined = problem?.errors[0];
  if (problem !== null && fault === undefined) throw new Error("a problem without a fault");
}
const plans: Recommendation = await accord.recommend({ ...order, decorations: [{ placement: "front" }] }, { plans: 1 });
if (plans.plans[0]?.decorations[0]?.steps[0]?.text === undefined) throw new Error("a plan without a step");
try {
  judgedOn({ ...verdict, judged_on: "another" });
  throw new Error("judged on no press");
} catch (error) {
  if (!(error instanceof BadAnswer)) throw error;
}
console.log("The types of the JavaScript client are those of the description.");
