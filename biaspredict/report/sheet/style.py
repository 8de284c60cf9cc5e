"""How a sheet looks: black on white, for paper at arm's length and for a telephone's screen."""

from __future__ import annotations

from collections.abc import Sequence

from biaspredict.report.sheet.markup import css_string

# Sizes in points on paper: 12 for what is read at arm's length, 10 for what is read once.
SHEET = """
* { box-sizing: border-box; }
html { -webkit-text-size-adjust: 100%; text-size-adjust: 100%; }
body { margin: 0 auto; padding: 4mm; max-width: 210mm; background: #fff; color: #000;
  font: 12pt/1.3 "DejaVu Sans", sans-serif; }
h1, h2, h3, td, th, li, p, dd { overflow-wrap: anywhere; unicode-bidi: isolate; }
h1 { font-size: 17pt; line-height: 1.2; margin: 0 0 1mm; }
h2 { font-size: 14pt; margin: 6mm 0 2mm; padding-top: 1.5mm; border-top: 0.7mm solid #000; }
h3 { font-size: 12pt; margin: 4mm 0 1mm; }
p { margin: 1mm 0 2mm; }
a { color: #000; text-decoration: none; }
.small { font-size: 10pt; }
.state { font-weight: bold; border: 0.5mm solid #000; padding: 0 2mm; white-space: nowrap; }
.caution { border: 1.2mm double #000; padding: 1mm 2.5mm; margin: 2mm 0;
  font-size: 10.5pt; break-inside: avoid; overflow-wrap: anywhere; }
.reason { border: 0.4mm dashed #000; padding: 1mm 2.5mm; margin: 2mm 0;
  overflow-wrap: anywhere; }
ul.checks, ul.plain { list-style: none; margin: 1mm 0 2mm; padding: 0; }
ul.checks li { margin: 1.2mm 0; padding-left: 8mm; text-indent: -8mm; break-inside: avoid; }
ul.inline { display: flex; flex-wrap: wrap; gap: 0 7mm; }
ul.plain li { margin: 0.8mm 0; break-inside: avoid; }
.box { display: inline-block; width: 4.6mm; height: 4.6mm; border: 0.45mm solid #000;
  margin-right: 3.4mm; vertical-align: -0.7mm; text-indent: 0; position: relative; }
td .box { margin: 0; }
.box svg { position: absolute; left: 0; top: 0; width: 100%; height: 100%; }
.blank { display: inline-block; min-width: 22mm; border-bottom: 0.3mm solid #000; height: 1.1em;
  text-indent: 0; vertical-align: baseline; }
.fields { display: flex; flex-wrap: wrap; align-items: baseline; gap: 1mm 6mm; margin: 2mm 0; }
.fields span { white-space: normal; }
table { border-collapse: collapse; width: 100%; margin: 1mm 0 3mm; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
th { text-align: left; font-size: 10pt; line-height: 1.15; vertical-align: bottom;
  padding: 0.5mm 1.1mm; border-bottom: 0.5mm solid #000; }
td { padding: 0.8mm 1.1mm; border-bottom: 0.2mm solid #000; vertical-align: middle;
  height: 7.6mm; }
td.name { min-width: 38mm; }
td.ohms { font-weight: bold; }
td.ohms span { font-weight: normal; white-space: nowrap; }
td.mark, th.mark { font-weight: bold; white-space: nowrap; }
td.band { white-space: nowrap; }
td.figure, th.figure { text-align: right; white-space: nowrap; }
td.tick, th.tick { width: 8mm; }
th { overflow-wrap: normal; }
td.short { white-space: nowrap; }
td.count, th.count { width: 9mm; text-align: right; white-space: nowrap; }
td.write { border-left: 0.2mm solid #000; min-width: 20mm; }
td.write:last-child { border-right: 0.2mm solid #000; }
td.strong, .strong { font-weight: bold; }
table.low td { height: auto; }
td.whole { font-size: 10.5pt; font-weight: bold; border: 0.5mm solid #000; }
.drawing { margin: 2mm 0; overflow-x: auto; }
.drawing svg { display: block; width: 100%; height: auto; }
.foot { font-size: 9pt; margin-top: 5mm; }

@media screen {
  .sheet + .sheet { border-top: 1mm solid #000; margin-top: 12mm; padding-top: 6mm; }
  .drawing svg { min-width: var(--natural); }
  .piece { display: none; }
}
@media screen and (max-width: 600px) {
  body { font-size: 16px; padding: 10px; }
  th, .small, .caution, td.whole { font-size: 14px; }
  table.wide thead { display: none; }
  table.wide, table.wide tbody { display: block; }
  table.wide tr { display: flex; flex-wrap: wrap; gap: 2px 14px; padding: 6px 0;
    border-bottom: 1px solid #000; }
  table.wide td { display: block; height: auto; min-width: 0; width: auto; padding: 2px 0;
    border: 0; text-align: left; white-space: normal; max-width: 100%; }
  table.wide td:empty { display: none; }
  table.wide td[data-label]::before { content: attr(data-label) ": "; font-weight: normal;
    font-size: 14px; }
  table.wide td.name[data-label]::before { content: none; }
  table.wide td.write { display: block; border: 1px solid #000; min-width: 7.5em;
    min-height: 2em; padding: 2px 6px; }
  table.wide td.whole { border: 2px solid #000; padding: 4px 6px; width: 100%; }
}
@media print {
  body { max-width: none; padding: 0; }
  h1, h2, h3, .caution { break-after: avoid; }
  .sheet { break-before: page; }
  .sheet:first-child { break-before: auto; }
  .drawing { overflow: visible; break-inside: avoid; }
  .drawing svg { max-height: 235mm; }
  .lying .drawing svg { max-height: 140mm; }
  .piece { break-before: page; break-after: page; }
  .piece .drawing svg { max-height: 250mm; }
  .piece.lying .drawing svg { max-height: 160mm; }
  .step { break-inside: auto; }
  .keep { break-inside: avoid; }
}
@page { size: A4; margin: 14mm 12mm 13mm; }
"""


def pages(titles: Sequence[str]) -> str:
    """Page rules: each sheet has its own title above every side, and a lying page for wide
    drawings."""
    font = 'font: 9pt "DejaVu Sans", sans-serif'
    found = []
    for place, title in enumerate(titles):
        shown = title if len(title) <= 70 else title[:67] + "..."
        margins = (
            f"@top-left {{ content: {css_string(shown)}; {font}; width: 80%; }}"
            f" @top-right {{ content: counter(page) \" of \" counter(pages); {font}; }}"
        )
        found.append(f"@page sheet{place} {{ {margins} }}")
        found.append(f"@page lying{place} {{ size: A4 landscape; {margins} }}")
        found.append(f"#sheet{place} {{ page: sheet{place}; }}")
        found.append(f"#sheet{place} .lying {{ page: lying{place}; }}")
    return "\n".join(found)
