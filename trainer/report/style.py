"""How the page looks, on a screen and on paper."""

from typing import Final

#: Dark on white, at least 7:1; nothing is told by colour alone. Paper size is the printer's: only
#: margins are set, which A4 and Letter both have room for.
STYLE: Final = """
* { box-sizing: border-box; }
body { margin: 0; background: #fff; color: #1a1a1a;
  font: 16px/1.5 system-ui, "Segoe UI", Roboto, "DejaVu Sans", sans-serif; }
main { max-width: 56rem; margin: 0 auto; padding: 1rem; overflow-wrap: anywhere; }
h1 { font-size: 1.7rem; line-height: 1.2; margin: 0.5rem 0; }
h2 { font-size: 1.25rem; margin: 2rem 0 0.5rem; border-bottom: 2px solid #1a1a1a; }
h3 { font-size: 1.05rem; margin: 1.5rem 0 0.25rem; }
p, ul { margin: 0.5rem 0; }
li { margin: 0.25rem 0; }
.lead { font-size: 1.2rem; }
.pain { border: 3px solid #1a1a1a; padding: 0 1rem 0.5rem; margin: 1rem 0; }
figure { margin: 0.5rem 0 1.5rem; }
figcaption { font-size: 0.9rem; }
.chart, .wide { overflow-x: auto; }
.half { display: grid; grid-template-columns: repeat(auto-fit, minmax(20rem, 1fr));
  gap: 0 1.5rem; }
.bodies { display: grid; grid-template-columns: repeat(auto-fit, minmax(10rem, 1fr)); }
.bodies svg { min-width: 0; max-width: 20rem; margin: 0 auto; }
.half h3 { margin-top: 1rem; }
.half svg { min-width: 0; }
.picture img { display: block; max-width: 100%; max-height: 30rem; height: auto; width: auto; }
svg { display: block; width: 100%; min-width: 34rem; height: auto; }
svg * { stroke-linejoin: round; stroke-linecap: butt; }
table { border-collapse: collapse; width: 100%; font-size: 0.9rem;
  font-variant-numeric: tabular-nums; overflow-wrap: normal; }
caption { text-align: left; font-weight: 600; padding: 0.5rem 0; }
th, td { text-align: left; vertical-align: top; padding: 0.25rem 0.6rem 0.25rem 0;
  border-bottom: 1px solid #9a9a9a; min-width: 4.5rem; }
@media (max-width: 40rem) {
  .half { grid-template-columns: 1fr; }
  .chart svg { min-width: 27rem; }
  .half .chart svg { min-width: 0; }
  .many table { min-width: 42rem; }
  .many th[scope=row] { width: 8.5rem; }
}
summary h2 { display: inline; border: 0; }
.note { white-space: pre-line; overflow-wrap: anywhere; }
footer { margin-top: 2rem; font-size: 0.85rem; }
@page { margin: 15mm; }
@media print {
  body { font-size: 10pt; }
  main { max-width: none; padding: 0; }
  h2, h3, caption, h2 + p { break-after: avoid; }
  figure, tr, .pain, .short, .half > * { break-inside: avoid; }
  .half { grid-template-columns: 1fr 1fr; }
  .chart, .wide { overflow: visible; }
  .many table { min-width: 0; }
  details:not([open]) { display: none; }
  svg { min-width: 0; }
  thead { display: table-header-group; }
}
"""
