"""Finding entries of a book by the words that people use for things, not only by those that the book uses.

Entries are ranked by BM25F (S. Robertson and H. Zaragoza, "The Probabilistic Relevance Framework: BM25 and Beyond",
Foundations and Trends in Information Retrieval 3(4), 2009): a word counts more the fewer entries have it, and more in
a name than in a sentence. Beside that counts how many of the words that were typed an entry has at all, whether
some of them together are one of its names, and of what kind it is, since most who search want a rule or a transfer.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import log
from types import MappingProxyType
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.files import Documents
from accord_rules.documents.spelling import as_word, nearest, stem
from accord_rules.revision.facts import declared

# What people say -> what the book's sentences say of the same. Words of the trade, from memory; what an entry of the
# catalogue is also called stands there, as its aliases.
_SAID: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "baby": ("child", "three"),
        "babygrow": ("bodysuit", "child", "three"),
        "bleeding": ("bleeds", "migration", "tint"),
        "blister": ("bubbles",),
        "blurry": ("ghost", "blurs"),
        "breaker": ("circuit",),
        "burn": ("scorch", "burns"),
        "colour": ("color",),
        "color": ("colour",),
        "cracking": ("cracks", "tears"),
        "cotton": ("natural",),
        "curl": ("warp", "curls"),
        "damp": ("moisture",),
        "design": ("artwork", "print"),
        "drawstring": ("cord",),
        "drinking": ("rim", "food"),
        "dtf": ("powder",),
        "dye": ("sublimation",),
        "earlier": ("old",),
        "faded": ("fade", "pale"),
        "fuse": ("plug", "circuit"),
        "glue": ("adhesive",),
        "gold": ("metallic",),
        "hot": ("temperature", "heat"),
        "htv": ("film",),
        "humidity": ("moisture",),
        "image": ("artwork", "print"),
        "infant": ("child", "three"),
        "jumper": ("sweater",),
        "kid": ("child",),
        "kids": ("child",),
        "lift": ("peel", "lifts"),
        "logo": ("print", "artwork"),
        "mold": ("mould",),
        "navy": ("dark",),
        "black": ("dark",),
        "onesie": ("bodysuit", "child", "three"),
        "peeling": ("lifts", "peel"),
        "picture": ("artwork", "print"),
        "powder": ("dtf",),
        "prepress": ("pre-press",),
        "raincoat": ("repellent",),
        "rain": ("repellent",),
        "rhinestone": ("stones",),
        "safe": ("declared", "declaration"),
        "scorched": ("scorch", "yellow", "mark"),
        "secs": ("time", "dwell"),
        "seconds": ("time", "dwell"),
        "shiny": ("shine", "marks"),
        "shirt": ("garment", "cloth", "tee"),
        "shrinks": ("shrink",),
        "smell": ("fumes",),
        "smoke": ("fumes",),
        "snaps": ("buttons",),
        "spandex": ("elastane",),
        "stretchy": ("stretch", "elastane"),
        "sub": ("sublimation", "dye"),
        "subbed": ("sublimation", "dye"),
        "sublimate": ("sublimation", "dye"),
        "sublimation": ("dye",),
        "sun": ("sunlight", "outdoors"),
        "sweaty": ("moisture",),
        "tag": ("label",),
        "tee": ("garment", "cloth"),
        "temp": ("temperature",),
        "toddler": ("child", "three"),
        "trip": ("overload",),
        "vinyl": ("film",),
        "waterproof": ("repellent", "membrane"),
        "wet": ("moisture",),
        "wrinkle": ("crease",),
        "yellowing": ("yellow", "scorch"),
        "zipper": ("zip",),
    }
)
# The same of words that belong together; the book's words take their place.
_PHRASES: Mapping[str, str] = MappingProxyType(
    {
        r"\b50 ?[/-] ?50\b": "half polyester blend",
        r"\bpoly[ -]?cotton\b": "polyester cotton blend",
        r"\bhi[ -]?viz?s?\b": "high-visibility",
        r"\bpre[ -]?press(ing)?\b": "pre-press",
        r"\bt[ -]?shirts?\b": "tee",
        r"\bglow in the dark\b": "glow-in-the-dark",
        r"\bcomes? off\b": "lifts",
        r"\bwashe?s? (off|out)\b": "wash lifts",
    }
)
_FILLING = frozenset(
    re.findall(
        "[a-z]+",
        "a an and any are at be by can could do does for from get has have how i if in into is it its me my of on onto"
        " or our should so that the their them they this to too we what when where which while who why will with would"
        " you",
    )
)
# Who asks for one of these asks how something is pressed, which transfers say.
_SETTINGS = frozenset(
    map(stem, ("degrees", "dwell", "heat", "hot", "long", "peel", "pressure", "seconds", "secs", "settings", "temp"))
) | {stem("temperature"), stem("time")}
# What an entry is worth beside another of the same score, by kind: what is asked for most, and says most, first.
_WORTH: Mapping[str, float] = MappingProxyType(
    {
        "transfers": 1.2,
        "advice": 1.15,
        "rules": 1.1,
        "consumables": 1.1,
        "press_types": 1.1,
        "fibres": 1.05,
        "not_covered": 1.0,
        "finishes": 1.0,
        "substrates": 0.95,
        "limits": 0.9,
        "coatings": 0.9,
        "steps": 0.85,
        "products": 0.85,
        "markets": 0.8,
        "blanks": 0.65,
        "facts": 0.55,
        "sources": 0.5,
        "practice": 0.35,
        "migration": 0.35,
    }
)
KINDS = tuple(_WORTH)
# Of a page, by part: how much a word in it counts, and how far a long part is held against it (b of BM25F).
_PARTS: tuple[tuple[float, float], ...] = ((3.0, 0.5), (1.2, 0.6), (0.4, 0.7))
_K1 = 1.2
_OTHER_WORD = 0.7  # what another word for the typed one counts
_WORDS_MOST = 12
_PREFIX_LEAST, _PREFIX_MOST = 3, 8
_NAMED = 8.0
_SLIP = 0.75  # how alike a word must be to one that is not known to be looked for instead (``spelling.nearest``)
_EXCERPT = 220


@dataclass(frozen=True, slots=True)
class Hit:
    """An entry that was found. ``excerpt``: how what it says begins; an ellipsis stands for what hangs on the order."""

    kind: str
    id: str
    title: str
    excerpt: str
    score: float


@dataclass(frozen=True, slots=True)
class Found:
    """The entries that were found, best first; ``total``: how many there are; ``instead``: words that the book does not
    have, each with the nearest that was looked for instead."""

    hits: tuple[Hit, ...]
    total: int
    instead: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class _Page:
    """An entry as it is searched. ``names``: what it is called; ``says``: its sentences; ``aside``: what else.

    ``shown``: what is shown of it beside its title.
    """

    kind: str
    id: str
    title: str
    names: tuple[str, ...]
    says: str
    aside: str
    shown: str


class Index:
    """What is searched of one book, which takes a tenth of a second to make: see ``Book.index``."""

    def __init__(self, documents: Documents) -> None:
        self._pages = tuple(_pages(documents))
        self._named: dict[str, set[int]] = defaultdict(set)
        self._words: dict[str, str] = {}  # as written, to its stem
        written = [tuple(map(_words, (" ".join(page.names), page.says, page.aside))) for page in self._pages]
        stems = {word: stem(word) for word in {word for parts in written for part in parts for word in part}}
        for number, (page, (names, says, _)) in enumerate(zip(self._pages, written, strict=True)):
            for name in page.names:
                self._named[as_word(name)].add(number)
            self._words.update((word, stems[word]) for word in (*names, *says))
        for word, entries in documents["ambiguous_words"].items():
            self._named[as_word(word)].update(self._meant(entries["readings"]))
        self._stems = frozenset(stems.values())
        self._weights = _weights(written, stems)

    def _meant(self, readings: Mapping[str, Sequence[str]]) -> Iterator[int]:
        wanted = {(kind, name) for kind, names in readings.items() for name in names}
        wanted |= {("products", name) for kind, name in wanted if kind == "transfers"}
        return (number for number, page in enumerate(self._pages) if (page.kind, page.id) in wanted)

    def find(self, text: str, kinds: Iterable[str] = KINDS, most: int = 20) -> Found:
        """The entries that a text in people's words is about, of these kinds."""
        text = text.lower()
        for phrase, meant in _PHRASES.items():
            text = re.sub(phrase, meant, text)
        typed = [word for word in _words(text) if word not in _FILLING][:_WORDS_MOST] or _words(text)[:_WORDS_MOST]
        looked_for = [self._alternatives(word) for word in dict.fromkeys(typed)]
        scores = self._scores([alternatives for alternatives, _ in looked_for])
        instead = dict(filter(None, (pair for _, pair in looked_for)))
        self._add_names(scores, text, [instead.get(word, word) for word in typed])
        wanted, better = frozenset(kinds), _asked_for(text, typed)
        ranked = sorted(
            (
                (score * _WORTH[self._pages[number].kind] * better.get(self._pages[number].kind, 1.0), number)
                for number, score in scores.items()
                if self._pages[number].kind in wanted
            ),
            key=lambda of: (-of[0], self._pages[of[1]].kind, self._pages[of[1]].id),
        )
        hits = tuple(_hit(self._pages[number], score) for score, number in ranked[:most])
        return Found(hits, len(ranked), tuple(instead.items()))

    def _alternatives(self, word: str) -> tuple[Mapping[str, float], tuple[str, str] | None]:
        """The stems to look for where a word was typed, each with what it counts; and the word that was taken for it
        where the book has none like it."""
        own = stem(word)
        others = {stem(other): _OTHER_WORD for said in (word, own) for other in _OTHERS.get(said, ())}
        if own in self._stems:
            return {**others, own: 1.0}, None
        if others:
            return others, None
        if len(word) >= _PREFIX_LEAST:
            begun = sorted(
                (known for known in self._words if known.startswith(word)), key=lambda known: (len(known), known)
            )
            if begun:
                return {self._words[known]: _OTHER_WORD for known in begun[:_PREFIX_MOST]}, None
        near = () if len(word) <= _PREFIX_LEAST or word.isdigit() else nearest(word, self._like(word), 1, _SLIP)
        if not near:
            return {own: 1.0}, None
        others = {stem(other): _OTHER_WORD for other in _OTHERS.get(stem(near[0]), ())}
        return {**others, self._words[near[0]]: 1.0}, (word, near[0])

    def _like(self, word: str) -> Iterator[str]:
        """The known words that a slip of the finger may have made this one of: comparing all takes 50 ms."""
        return (
            known
            for known in self._words
            if abs(len(known) - len(word)) <= 2 and (known[0] == word[0] or known[-3:] == word[-3:])
        )

    def _scores(self, looked_for: Sequence[Mapping[str, float]]) -> dict[int, float]:
        scores: dict[int, float] = defaultdict(float)
        had: Counter[int] = Counter()
        for alternatives in looked_for:
            best: dict[int, float] = {}
            for word, counts in alternatives.items():
                having = self._weights.get(word, {})
                rarity = log(1 + (len(self._pages) - len(having) + 0.5) / (len(having) + 0.5))
                for number, weight in having.items():
                    best[number] = max(best.get(number, 0.0), counts * rarity * weight / (_K1 + weight))
            for number, score in best.items():
                scores[number] += score
                had[number] += 1
        return {number: score * had[number] / len(looked_for) for number, score in scores.items()}

    def _add_names(self, scores: dict[int, float], text: str, typed: Sequence[str]) -> None:
        """Entries of which some of the typed words together are a name, the more of them the better."""
        spans = {(as_word(text.strip()), len(typed))}
        spans |= {
            ("-".join(typed[start:end]), end - start)
            for start in range(len(typed))
            for end in range(start + 1, len(typed) + 1)
        }
        best: dict[int, int] = {}
        for name, words in spans:
            for number in self._named.get(name, ()):
                best[number] = max(best.get(number, 0), words)
        for number, words in best.items():
            scores[number] = scores.get(number, 0.0) + _NAMED * (words / max(len(typed), 1)) ** 2


_OTHERS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {spelling: others for word, others in _SAID.items() for spelling in (stem(word), word)}
)


def _words(text: str) -> list[str]:
    return re.findall(r"[^\W_]+", text.lower())


def _asked_for(text: str, typed: Sequence[str]) -> Mapping[str, float]:
    """The kinds that a text asks for: transfers where it asks for settings; rules where it names several things, since
    whoever does asks how they go together."""
    if not _SETTINGS.isdisjoint(map(stem, _words(text))):
        return {"transfers": 1.4}
    return {"rules": 1.3} if len(typed) > 1 else {}


def _weights(written: Sequence[Sequence[Sequence[str]]], stems: Mapping[str, str]) -> Mapping[str, Mapping[int, float]]:
    """By stem, the pages that have it, each with its weight there (the pseudo-frequency of BM25F). ``written``: the
    words of each page's parts."""
    means = [sum(map(len, part)) / max(len(written), 1) or 1.0 for part in zip(*written, strict=True)]
    weights: dict[str, dict[int, float]] = defaultdict(dict)
    for number, parts in enumerate(written):
        for (weight, b), mean, words in zip(_PARTS, means, parts, strict=True):
            each_word = weight / (1 - b + b * len(words) / mean)
            for word in words:
                having = weights[stems[word]]
                having[number] = having.get(number, 0.0) + each_word
    return dict(weights)


def _hit(page: _Page, score: float) -> Hit:
    shown = page.shown if len(page.shown) <= _EXCERPT else page.shown[:_EXCERPT].rpartition(" ")[0] + " …"
    return Hit(page.kind, page.id, page.title, shown, round(score, 3))


# -- what is searched -------------------------------------------------------------------------------------------------


def _pages(documents: Documents) -> Iterator[_Page]:
    for kind in KINDS:
        for name, entry in documents.get(kind, {}).items():
            yield _page(kind, name, entry, documents["limits"])
    for name, fact in declared().items():
        yield _Page("facts", name, name, (name,), fact.about, "", fact.about)


def _page(kind: str, name: str, entry: Mapping[str, Any], limits: Mapping[str, Any]) -> _Page:
    title = title_of(kind, name, entry)
    names = (name, title.rstrip("?"), *entry.get("aliases", ()), *filter(None, (entry.get("us_name"),)))
    says = " ".join(
        _text(entry[field])
        for field in ("because", "fix", "text", "answer", "instead", "why", "where")
        if entry.get(field)
    )
    aside = [_text(entry.get(field, "")) for field in ("note", "topic", "stage", "harm", "family", "principle")]
    aside += [example.get("note", "") for example in entry.get("fires", ())]
    shown = _shown(entry["text"] if kind == "sources" else entry.get("why", "") if kind == "steps" else says, limits)
    return _Page(kind, name, title, names, _filled(says), " ".join(aside), shown or _text(entry.get("note", "")))


def title_of(kind: str, name: str, entry: Mapping[str, Any]) -> str:
    """What people call an entry: its title or name, a step's sentence, else what its id says."""
    if kind == "steps":
        return _shown(entry["text"], {})
    return str(entry.get("title") or entry.get("name") or name.replace("-", " "))


def _text(value: Any) -> str:
    return value if isinstance(value, str) else " ".join(map(str, value))


_SLOT = re.compile(r"\{(limit\()?([a-z0-9_.]+)\)?\}")


def _filled(sentence: str) -> str:
    """A sentence of the book, with what is filled in by order told in words."""
    named = _SLOT.sub(lambda match: match[2].rpartition(".")[2].replace("_", " "), sentence)
    return " ".join(named.split())


def _shown(sentence: str, limits: Mapping[str, Any]) -> str:
    """A sentence of the book with the values of its limits."""
    return _SLOT.sub(lambda match: _amount(limits[match[2]]) if match[1] and match[2] in limits else "…", sentence)


def _amount(limit: Mapping[str, Any]) -> str:
    value = limit["value"]
    return value if isinstance(value, str) else f"{value:g} {units.DIMENSIONS[limit['dimension']].symbol}".rstrip()
