"""Order + settings -> facts. Importing this package declares every fact (see ``facts``)."""

from accord_rules.derive import artwork, ceiling, fibres, heat, item, press, setting, sheets, transfer, use, window

__all__ = ["artwork", "ceiling", "fibres", "heat", "item", "press", "setting", "sheets", "transfer", "use", "window"]
