import { DAY, NIGHT, properties } from './palette.ts';

/** The style sheet of the page: one column that reads like a duty log, at any width, by day, by night and on paper. */
export const PAGE_STYLE = `
:root { color-scheme: light dark; ${properties(DAY)} }
@media (prefers-color-scheme: dark) { :root { ${properties(NIGHT)} } }
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink); font: 1rem/1.5 Georgia, "Noto Serif", "DejaVu Serif", serif; }
main { max-width: 72rem; margin: 0 auto; padding: 1.5rem 1rem 3rem; }
h1, h2, h3 { line-height: 1.25; text-wrap: balance; }
h1 { font-size: 1.75rem; margin: 0 0 .5rem; }
h2 { font-size: 1.15rem; margin: 2.25rem 0 .5rem; padding-bottom: .2rem; border-bottom: 1px solid var(--line); }
h3 { font-size: 1rem; margin: 1.25rem 0 .35rem; }
p { max-width: 46rem; margin: .4rem 0; }
p, li, td, th, dd, pre, code { overflow-wrap: anywhere; }
.who { color: var(--faded); }
.who, .log, .slot, pre, table { font-family: "DejaVu Sans", "Segoe UI", system-ui, sans-serif; font-size: .9rem; }
pre, .digest { font-family: "DejaVu Sans Mono", ui-monospace, Consolas, monospace; font-size: .82rem; }
.decision { border-left: .5rem solid var(--ink); padding: .25rem 0 .25rem 1rem; margin: 1.25rem 0; }
.decision p { font-size: 1.1rem; }
.decision.good { border-color: var(--good); }
.decision.bad { border-color: var(--bad); }
.decision.open { border-color: var(--open); }
.mark { font-weight: bold; white-space: nowrap; }
.mark i { font-style: normal; display: inline-block; width: 1.3em; }
.good > i { color: var(--good); }
.bad > i { color: var(--bad); }
.open > i { color: var(--open); }
summary { cursor: pointer; color: var(--faded); }
summary:focus-visible { outline: 3px solid var(--open); outline-offset: 2px; }
ul { max-width: 46rem; padding-left: 1.25rem; margin: .4rem 0; }
.log { list-style: none; margin: .75rem 0; padding: 0; }
.log li { display: grid; grid-template-columns: 6.5rem 7.5rem 1fr 6rem; gap: 0 .75rem; padding: .3rem 0; border-bottom: 1px dotted var(--line); }
.log time, .log .length { font-variant-numeric: tabular-nums; color: var(--faded); }
.log .length { text-align: right; }
.log .note { grid-column: 3 / -1; color: var(--faded); }
.moments { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 21rem), 1fr)); gap: 1rem 2rem; }
.strip { display: grid; grid-template-columns: 1fr 1fr; gap: .75rem; }
.slot { background: var(--leaf); border-top: 3px solid var(--line); padding: .5rem .6rem .65rem; }
.slot .digest { font-size: .76rem; line-height: 1.35rem; }
.slot.runs { border-top: 9px double var(--ink); padding-top: calc(.5rem - 6px); }
.slot h4 { margin: 0; font-size: .9rem; }
.slot p, .slot dl { margin: .15rem 0 0; }
.slot dt { float: left; clear: left; width: 3.8rem; color: var(--faded); }
.slot dd { margin: 0 0 0 3.8rem; }
table { border-collapse: collapse; width: 100%; margin: .75rem 0; }
th, td { text-align: left; vertical-align: top; padding: .35rem .75rem .35rem 0; border-bottom: 1px dotted var(--line); }
thead th { color: var(--faded); font-weight: normal; border-bottom: 1px solid var(--line); }
tbody th { font-weight: normal; }
.why { color: var(--faded); }
pre { background: var(--leaf); margin: .35rem 0 1rem; padding: .5rem 0; overflow-x: auto; tab-size: 4; }
pre:focus-visible { outline: 3px solid var(--open); outline-offset: 2px; }
pre span { display: block; width: max-content; min-width: 100%; padding: 0 .75rem; border-left: .3rem solid transparent; min-height: 1.5em; }
pre .plus { border-color: var(--good); font-weight: bold; }
pre .minus { border-color: var(--bad); }
pre .place { color: var(--faded); }
footer { margin-top: 3rem; color: var(--faded); font-size: .85rem; }
@media (max-width: 44rem) {
  h1 { font-size: 1.45rem; }
  .log li { grid-template-columns: auto auto 1fr; }
  .log .length { grid-row: 1; grid-column: 3; }
  .log .what { grid-row: 2; grid-column: 1 / -1; }
  .log .note { grid-column: 1 / -1; }
  .strip { gap: .5rem; }
  .slot { padding-left: .5rem; padding-right: .5rem; }
  .slot dt { float: none; width: auto; }
  .slot dd { margin-left: 0; }
  table, tbody, tr, th, td { display: block; }
  thead { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
  tr { border-bottom: 1px dotted var(--line); padding: .5rem 0; }
  th, td { border: 0; padding: 0; }
  td[data-is]::before { content: attr(data-is) " "; color: var(--faded); }
}
@media print {
  :root { ${properties({ ...DAY, paper: '#ffffff' })} }
  body { font-size: 10.5pt; }
  main { max-width: none; padding: 0; }
  pre { white-space: pre-wrap; overflow: visible; }
  pre span { width: auto; }
  h2, h3, h2 + p, h3 + p { break-after: avoid; }
  .log li, .slot, tr, .decision { break-inside: avoid; }
}
`;
