// A checkout that asks before it takes money: payment is open only for an order that was found workable as it stands.
import { Accord, AccordError, TooManyRequests, blocks, workable } from "./accord.js";

const PLATEN_IN = 20; // what the preview is wide, in inches
const ORDER_FIELDS = new Map([
  ["/item/blank", "blank"],
  ["/decorations/0/transfer", "transfer"],
  ["/decorations/0/size/width", "width"],
  ["/decorations/0/size/height", "height"],
]);
const WORDS = {
  checking: "One moment", workable: "This can be printed", rejected: "This can't be printed as it is", unknown: "Not checked",
};
const at = (id) => document.getElementById(id);
const [blank, transfer, size] = ["blank", "transfer", "size"].map(at);
let asked = 0; // only the answer to the last choice counts

function chosen() {
  const [width, height] = size.value.split("|");
  return { blank: blank.value, transfer: transfer.value, width, height };
}

/** With what the shop knows of its own stock: grown-ups' sizes, plain cloth as it came, nothing that protects anybody. */
function orderOf({ blank, transfer, width, height }) {
  return {
    item: { blank, finishes: [], preparation: [] },
    use: { age_from: 18, age_to: 99, kinds: [] },
    decorations: [{ transfer, placement: "front", size: { width, height } }],
    quantity: 1,
  };
}

/** The choices with a remedy's changes; null where it would change what is no choice here, or to what is not sold. */
function remedied(choices, remedy) {
  const changed = { ...choices };
  for (const { pointer, to } of remedy.changes) {
    const field = ORDER_FIELDS.get(pointer);
    if (field === undefined || typeof to !== "string") return null;
    changed[field] = to;
  }
  const sold = offers(blank, changed.blank) && offers(transfer, changed.transfer);
  return sold ? changed : null;
}

function offers(select, value) {
  return [...select.options].some((option) => option.value === value);
}

function choose({ blank: cloth, transfer: how, width, height }) {
  const value = `${width}|${height}`;
  if (!offers(size, value)) size.add(new Option(`As large as fits, ${width.replace(" in", "")} × ${height}`, value));
  [blank.value, transfer.value, size.value] = [cloth, how, value];
}

function button(text, act) {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = text;
  made.addEventListener("click", act);
  return made;
}

function item(text) {
  const made = document.createElement("li");
  made.textContent = text;
  return made;
}

function show(state, reason, { more = [], remedies = [], again = false } = {}) {
  at("check").dataset.state = state;
  at("word").textContent = WORDS[state];
  at("reason").textContent = reason;
  at("rest").hidden = more.length === 0;
  at("more").replaceChildren(...more.map(item));
  at("remedies").replaceChildren(...remedies);
  at("again").hidden = !again;
  at("pay").disabled = state !== "workable";
  at("paid").textContent = "";
}

function showVerdict(verdict, choices) {
  if (workable(verdict)) {
    show("workable", verdict.unsaid ?? "What you chose can be done.", { more: verdict.conditions });
    return;
  }
  const [first, ...rest] = verdict.findings.filter(blocks).map((finding) => finding.because);
  const questions = verdict.needs.map((need) => need.question);
  const remedies = verdict.remedies
    .map((remedy) => ({ remedy, changed: remedied(choices, remedy) }))
    .filter(({ changed }) => changed !== null)
    .map(({ remedy, changed }) => button(remedy.text, () => apply(changed)));
  show("rejected", first ?? "We can't say yet whether this can be printed: ask us first.", {
    more: [...rest, ...(first === undefined ? questions : [])],
    remedies,
  });
}

function apply(changed) {
  choose(changed);
  check();
  at("pay").scrollIntoView({ block: "nearest" });
}

async function check() {
  const [mine, choices] = [(asked += 1), chosen()];
  drawn(choices);
  show("checking", "Checking whether this can be printed …");
  try {
    const verdict = await (await accord()).validate(orderOf(choices));
    if (mine === asked) showVerdict(verdict, choices);
  } catch (error) {
    if (mine !== asked) return;
    if (!(error instanceof AccordError)) console.error(error);
    const busy = error instanceof TooManyRequests;
    const why = busy ? "Many people are choosing just now" : "We could not check whether this can be printed";
    show("unknown", `${why}, so we take no money for it yet.`, { again: true });
  }
}

function drawn({ width, height }) {
  const share = (length) => `${(parseFloat(length) / PLATEN_IN) * 100}%`;
  at("print").style.setProperty("--width", share(width));
  at("print").style.setProperty("--height", share(height));
  at("preview").style.setProperty("--cloth", blank.selectedOptions[0].dataset.colour);
}

let opened = null;

/** The client, with the address and the storefront's key that the page was given. */
async function accord() {
  if (opened === null) {
    const { service, key } = await (await fetch("shop.json")).json();
    opened = new Accord(service, key);
  }
  return opened;
}

at("order").addEventListener("change", check);
at("order").addEventListener("submit", (event) => event.preventDefault());
at("again").addEventListener("click", check);
at("pay").addEventListener("click", () => {
  at("paid").textContent = "Here a real shop would check once more on its server, and then take the money.";
});
check();
