/** How a report looks, on a screen and on paper of either size. Black on white; nothing is told by colour alone. */
import { cssString } from './markup.ts';

export const papers = { a4: 'A4', letter: 'letter' } as const;
export type Paper = keyof typeof papers;

const always = `* { box-sizing: border-box; }
body { margin: 0; background: #e9ecef; color: #111; font: 9.3pt/1.38 Arial, "Liberation Sans", Helvetica, "DejaVu Sans Condensed", sans-serif; font-variant-numeric: tabular-nums; }
main { max-width: 190mm; margin: 0 auto; background: #fff; padding: 12mm 10mm; }
h1 { font-size: 17pt; line-height: 1.2; margin: 0 0 1mm; }
h2 { font-size: 12pt; margin: 6mm 0 2mm; padding-bottom: 0.6mm; border-bottom: 0.4mm solid #12324f; break-after: avoid; }
h3 { font-size: 9.6pt; margin: 3.2mm 0 0.8mm; break-after: avoid; }
p { margin: 0 0 1.4mm; orphans: 3; widows: 3; }
.name { font-size: 11pt; font-weight: 600; margin: 0 0 4mm; }
.warnings { border: 0.7mm solid #111; padding: 2mm 3mm 1mm; margin: 3mm 0; break-inside: avoid; }
.warnings p { font-weight: 600; }
dl { display: grid; grid-template-columns: 36mm 1fr; gap: 0.7mm 3mm; margin: 0; }
dt { color: #333; }
dd { margin: 0; overflow-wrap: anywhere; }
figure { margin: 0; break-inside: avoid; }
figcaption { font-size: 8pt; }
figcaption b { font-size: 9pt; display: block; line-height: 1.25; }
.figures { display: grid; grid-template-columns: 1fr 1fr; gap: 6mm 5mm; align-items: start; }
svg { display: block; width: 100%; height: auto; font: 12px Arial, "Liberation Sans", Helvetica, "DejaVu Sans Condensed", sans-serif; }
svg text { fill: #111; }
.table { margin: 0 0 4mm; }
table { border-collapse: collapse; width: 100%; font-size: 8.4pt; line-height: 1.25; }
caption { text-align: left; font-weight: 600; font-size: 9.3pt; padding: 2mm 0 1mm; break-after: avoid; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
th, td { padding: 0.65mm 1.2mm; text-align: right; vertical-align: top; border-bottom: 0.15mm solid #b9c0c8; }
thead th { border-bottom: 0.35mm solid #111; border-top: 0.35mm solid #111; vertical-align: bottom; }
thead span { display: block; font-weight: 400; color: #333; }
tbody th { font-weight: 400; text-align: left; overflow-wrap: anywhere; }
th:first-child { text-align: left; padding-left: 0; }
td.number, .whole { white-space: nowrap; }
td.text.whole { overflow-wrap: normal; }
td.text, th.text { text-align: left; overflow-wrap: anywhere; }
thead th.text { overflow-wrap: break-word; }
tr.mean > * { font-weight: 600; border-top: 0.35mm solid #111; }
.short { break-inside: avoid; }
.verdict { font-weight: 700; white-space: nowrap; }
.notes { font-size: 7.8pt; color: #222; margin: 0.8mm 0 0; }
.notes p { margin: 0 0 0.5mm; }
sup { font-size: 6.8pt; line-height: 0; }
code, .hash { font-family: ui-monospace, "Liberation Mono", Consolas, monospace; font-size: 7.6pt; overflow-wrap: anywhere; }
a { color: #0b3a75; }
.end { text-align: center; margin: 7mm 0 0; font-weight: 600; }
pre { font: 7.6pt/1.4 ui-monospace, "Liberation Mono", Consolas, monospace; white-space: pre-wrap; overflow-wrap: anywhere; max-width: 190mm; margin: 0 auto; background: #fff; padding: 3mm 10mm 8mm; }
/* All of it on one sheet of either size. */
.one-page { font-size: 7.1pt; line-height: 1.22; }
.one-page h1 { font-size: 13pt; margin: 0; }
.one-page .name { font-size: 9pt; margin-bottom: 1mm; }
.one-page h2 { font-size: 8.6pt; margin: 1.8mm 0 0.8mm; padding-bottom: 0.3mm; border-width: 0.25mm; }
.one-page table { font-size: 7pt; line-height: 1.15; }
.one-page th, .one-page td { padding-top: 0.35mm; padding-bottom: 0.35mm; }
.one-page caption { font-size: 7.3pt; padding: 0.3mm 0; }
.one-page .table { margin-bottom: 1mm; }
.one-page p { margin-bottom: 0.6mm; }
.one-page dl { grid-template-columns: 22mm 1.6fr 22mm 1fr; gap: 0.2mm 2mm; }
.one-page dl.hash { grid-template-columns: 22mm 1fr; }
.one-page .notes, .one-page .hash, .one-page pre { font-size: 6.1pt; line-height: 1.15; }
.one-page .notes { margin-top: 0.3mm; }
.one-page .warnings { padding: 1mm 2mm 0.4mm; margin: 1.6mm 0; }
.one-page .hash { font-size: 5.8pt; }
.one-page > main > p { margin-top: 1mm; }
.one-page .end { margin-top: 1mm; }
.one-page pre { margin-top: 0.8mm; padding: 0; }
@media print {
  body { background: none; }
  main, pre { max-width: none; padding: 0; }
  pre { margin-top: 4mm; break-inside: avoid; }
  .screen { display: none; }
}
@media screen and (max-width: 150mm) { .figures { grid-template-columns: 1fr; } .table { overflow-x: auto; } dl { grid-template-columns: 1fr; } }
`;

/** `foot` and `name` stand in the margin of every page (7.8.2.1 d). */
export const reportStyle = (name: string, foot: string, onePage: boolean): string => `
:root { color-scheme: light; }
@page {
  margin: ${onePage ? '13mm 12mm 12mm 14mm' : '19mm 14mm 17mm 16mm'};
  @top-left { content: ${cssString(foot)}; font: 8pt Arial, "Liberation Sans", Helvetica, "DejaVu Sans Condensed", sans-serif; color: #333; }
  @top-right { content: ${cssString(name)}; font: bold 8pt Arial, "Liberation Sans", Helvetica, "DejaVu Sans Condensed", sans-serif; color: #111; }
  @bottom-right { content: "Page " counter(page) " of " counter(pages); font: 8pt Arial, "Liberation Sans", Helvetica, "DejaVu Sans Condensed", sans-serif; color: #333; }
}
${always}`;
