"""The look of the page: one text of CSS, with its colours in two tables that a test measures."""

from __future__ import annotations

import re

__all__ = ["DARK", "GROUNDS", "LIGHT", "TEXTS", "css"]

LIGHT = {
    "paper": "#ffffff",
    "panel": "#f0f4f6",
    "ink": "#192127",
    "quiet": "#525d66",
    "rule": "#cfd7dc",
    "warn": "#8a3a00",
    "glass": "#dde8ee",
    "grid": "#e0e4e7",
    "blue": "#0072b2",
    "vermillion": "#d55e00",
    "green": "#009e73",
    "purple": "#cc79a7",
    "sky": "#56b4e9",
    "orange": "#e69f00",
}
"""Colours by name, on a light screen and on paper."""

DARK = {
    "paper": "#0f161b",
    "panel": "#172129",
    "ink": "#e2e8ec",
    "quiet": "#a5b1ba",
    "rule": "#34424d",
    "warn": "#f2a871",
    "glass": "#22323d",
    "grid": "#2a363f",
    "blue": "#4aa8e0",
    "vermillion": "#f08a3c",
    "green": "#2fbf95",
    "purple": "#dd9cc0",
    "sky": "#56b4e9",
    "orange": "#e69f00",
}
"""The same on a dark screen."""

TEXTS = ("ink", "quiet", "warn")
"""Colours that text has."""

GROUNDS = ("paper", "panel")
"""Colours that text stands on."""

SCOPE = ".catoptric.catoptric"
"""Said twice to outweigh what a notebook says about tables and lists inside of it."""

PHONE_PX = 760
"""Width of a screen below which tables are stacked."""


def css() -> str:
    """Return the whole style sheet; it reaches nothing outside of elements of class `catoptric`.

    Light and dark follow the reader's system, print is always light. Nothing is loaded.

    >>> assert "http" not in css() and "@import" not in css() and "url(" not in css()
    """
    dark = f".catoptric {{ {_variables(DARK)} }}"
    return "\n".join(
        [
            f".catoptric {{ {_variables(LIGHT)}; color-scheme: light dark }}",
            f"@media screen and (prefers-color-scheme: dark) {{ {dark} }}",
            _scoped(_EVERYWHERE),
            f"@media screen and (max-width: {PHONE_PX}px) {{{_scoped(_PHONE)}}}",
            f"@media print {{{_scoped(_PRINT)}}}",
        ]
    )


def _variables(colours: dict[str, str]) -> str:
    return "; ".join(f"--{name}: {colour}" for name, colour in colours.items())


def _scoped(rules: str) -> str:
    """Put the scope before every selector that does not name it, so that a notebook stays as is.

    >>> assert _scoped("p, b { margin: 0 }") == f"{SCOPE} p, {SCOPE} b {{ margin: 0 }}"
    """

    def scope(found: re.Match[str]) -> str:
        selectors = (selector.strip() for selector in found.group(2).split(","))
        kept = (s if re.search("catoptric|^@", s) else f"{SCOPE} {s}" for s in selectors)
        return f"{found.group(1)}{', '.join(kept)} {{"

    return re.sub(r"(\s*)([^{}]+?)\s*\{(?=[^{}]*\})", scope, rules)


_EVERYWHERE = """
.catoptric {
  background: var(--paper); color: var(--ink);
  font: 1rem/1.55 system-ui, -apple-system, "Segoe UI", "Liberation Sans", Arial, sans-serif;
  -webkit-text-size-adjust: 100%; text-size-adjust: 100%; overflow-wrap: break-word;
}
* { box-sizing: border-box }
body.catoptric { margin: 0; padding: 0 1.25rem 3rem }
div.catoptric { padding: .25rem 1rem 1rem }
.sheet { max-width: 66rem; margin: 0 auto }
h1, h2, h3, h4 {
  color: var(--ink); line-height: 1.25; font-weight: 650; text-wrap: balance; margin: 0;
}
.top { padding: 2.25rem 0 1.5rem }
.subject { margin: 0 0 .75rem; color: var(--quiet) }
.verdict {
  font: 500 clamp(1.25rem, 1rem + 1.1vw, 1.7rem)/1.35 ui-serif, Georgia, "Liberation Serif", serif;
  max-width: 60ch; text-wrap: pretty; margin: 0;
}
.basis { margin: 1rem 0 0; color: var(--quiet); max-width: 70ch }
section { border-top: 1px solid var(--rule); padding: 1.75rem 0 .5rem; margin-top: 1.5rem }
section > .title { font-size: 1.3rem; margin: 0 0 .75rem }
section .part { font-size: 1.05rem; margin: 1.25rem 0 .4rem }
p { margin: 0 0 .75rem; max-width: 72ch }
ul, ol { margin: 0 0 1rem; padding-left: 1.3rem; max-width: 72ch }
li { margin: 0 0 .45rem }
li::marker { color: var(--quiet) }
.note { color: var(--quiet); font-size: .9rem }
.numbers {
  display: grid; grid-template-columns: repeat(3, minmax(0, 1fr)); gap: 0; margin: 0; padding: 0;
  border-top: 3px solid var(--ink);
}
.number { padding: 1rem 1.4rem .5rem; border-left: 1px solid var(--rule) }
.number:first-child { padding-left: 0; border-left: 0 }
dt, dd { float: none; width: auto; padding: 0; margin: 0 }
dt { font-weight: 600 }
dt::first-letter { text-transform: uppercase }
.value {
  font-size: 2.4rem; line-height: 1.2; font-weight: 600; font-variant-numeric: tabular-nums;
}
.value small { font-size: 1.1rem; font-weight: 400; color: var(--quiet) }
.reach {
  display: grid; grid-template-columns: auto 1fr auto; gap: .6rem; align-items: center;
  color: var(--quiet); font-size: .9rem; font-variant-numeric: tabular-nums;
  margin: .1rem 0 .5rem;
}
.reach svg { display: block; width: 100%; height: 14px }
.meaning { font-size: .95rem }
.scroll { overflow-x: auto; max-width: 100% }
table {
  border-collapse: collapse; width: 100%; margin: 0 0 1rem; font-size: .92rem; background: none;
  border: 0; color: inherit; font-variant-numeric: tabular-nums; table-layout: auto;
}
table tbody tr, table thead tr { background: none; line-height: inherit }
caption { text-align: left; color: var(--quiet); padding: 0 0 .5rem; caption-side: top }
th, td {
  text-align: left; vertical-align: top; padding: .6rem .9rem .6rem 0; border: 0;
  border-bottom: 1px solid var(--rule); background: none; white-space: normal; max-width: none;
  line-height: inherit;
}
thead th { color: var(--quiet); font-weight: 600; border-bottom: 2px solid var(--ink) }
tbody th { font-weight: 600 }
.readings td, .readings th { text-align: right; padding: .3rem .8rem .3rem 0 }
.ladder tbody th { min-width: 10rem }
.ladder .main { display: block; font-weight: 600; white-space: nowrap }
.ladder .more {
  display: block; color: var(--quiet); font-size: .86rem; font-weight: 400;
}
.ladder tr.weak .main { font-weight: 400 }
.ladder .flag { display: block; color: var(--warn); font-size: .9rem; font-weight: 500 }
.pictures {
  display: grid; grid-template-columns: repeat(auto-fill, minmax(min(100%, 27rem), 1fr));
  gap: 1.25rem; margin: 0 0 1rem;
}
figure {
  margin: 0; padding: 1rem 1rem .8rem; background: var(--panel); min-width: 0;
  break-inside: avoid;
}
figcaption { margin-bottom: .5rem }
figcaption .part { display: block; margin: 0 0 .15rem; font-weight: 650 }
figcaption .note { display: block }
figure svg { display: block; width: 100%; height: auto; max-width: 36rem; fill: var(--ink) }
.cautions { border: 2px solid var(--warn); padding: 1.25rem 1.4rem .6rem }
.cautions .title { color: var(--warn) }
pre {
  background: var(--panel); color: var(--ink); padding: .9rem 1rem; overflow-x: auto;
  font-size: .85rem; line-height: 1.45; margin: 0 0 1rem; border: 0;
}
.foot {
  border-top: 1px solid var(--rule); color: var(--quiet); font-size: .9rem; padding-top: 1rem;
  margin-top: 1.5rem;
}
"""

_PHONE = """
body.catoptric { padding: 0 1rem 2rem }
.top { padding: 1.25rem 0 1rem }
.numbers { grid-template-columns: minmax(0, 1fr) }
.number, .number:first-child {
  padding: .9rem 0 .4rem; border-left: 0; border-bottom: 1px solid var(--rule);
}
.number:last-child { border-bottom: 0 }
figure { padding: .8rem .6rem .6rem }
.ladder, .ladder tbody, .ladder tr, .ladder th, .ladder td, .ladder caption {
  display: block; width: 100%; padding-right: 0;
}
.ladder thead {
  position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%);
}
.ladder tr { border-top: 2px solid var(--ink); padding: .5rem 0 .8rem }
.ladder tbody th, .ladder td { border: 0; padding: .3rem 0 }
.ladder tbody th { font-size: 1.05rem }
.ladder td[data-label] {
  display: grid; grid-template-columns: 8.5rem minmax(0, 1fr); gap: 0 .75rem;
}
.ladder td[data-label]::before {
  content: attr(data-label); color: var(--quiet); grid-row: 1 / span 9;
}
.ladder td[data-label] > * { grid-column: 2 }
.ladder td:empty { display: none }
.ladder tbody th { min-width: 0 }
.ladder .main { white-space: normal }
"""

_PRINT = """
@page { margin: 16mm 15mm }
.catoptric-page { font-size: 10pt }
body.catoptric { padding: 0 }
.top { padding: 0 0 8pt }
.verdict { font-size: 15pt }
.value { font-size: 20pt }
section { padding: 10pt 0 0; margin-top: 10pt }
table { font-size: 8pt }
.ladder .more, .scroll, pre { overflow: visible; white-space: pre-wrap }
.scroll { white-space: normal }
th, td { padding: 4pt 6pt 4pt 0 }
.ladder .main { white-space: normal }
tr, figure, .number, li, .cautions { break-inside: avoid }
.title, .part, caption { break-after: avoid }
.pictures { grid-template-columns: repeat(2, minmax(0, 1fr)); gap: 8pt }
figure { background: none; border: 1px solid var(--rule); padding: 6pt }
pre { background: none; border: 1px solid var(--rule) }
"""
