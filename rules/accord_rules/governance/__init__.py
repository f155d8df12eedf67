"""How the book changes and how shops may be stricter: pure functions over books, no store and no clock.

- ``changes``: ``read_changes(json) -> (EntryChange, ...)``, ``apply(documents, changes)``, ``difference(old, new)``,
  ``change_digest(changes)``, ``check(documents, changes, revision) -> Book``; they raise DocumentError, ChangeError,
  BookError.
- ``effect``: ``effect(old, new, orders, budget) -> Effect`` with ``.document()`` and ``.replay_digest``;
  ``RecordedOrder(id, shop_id, shop, order)``; ``loosens_safety(old, new) -> reasons`` (none: one steward will do).
- ``limits``: ``move(book, name, value) -> LimitShift``: what moving a limit can do, decided without trying orders.
- ``house``: ``read_house(json) -> HouseRules``, ``check_house(book, house, shop)`` (HouseError with reasons and
  witness orders), ``apply_house(book, house) -> Book``, ``HouseAuthority(authority, house)``, which answers
  like an ``Authority`` and shares its compiled rules.
- ``outcomes``: ``summary(OutcomeCounts(good, failed)) -> OutcomeSummary``, ``poor(summary)``,
  ``widely_seen(shops)``, ``draft_proposal(cell, summary, shops, book) -> Draft``.
- ``proposal``: ``draft``, ``with_keys``, ``edit``, ``show``, ``open_``, ``approve``, ``decline``, ``withdraw``,
  ``moved``, ``publish``, ``revert``: each answers a new ``Proposal`` or raises ``GovernanceError(kind, message)``.
- ``fitting``: ``fitting(book, shop)``: a shop without the stock and presses that a revision does not know.

Watched rules (``status = "watch"`` in a rule's table) need nothing from here: ``Authority.watched`` has their counts.
"""
