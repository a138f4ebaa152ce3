/** The only place that wires parts together. It must never hold a rule of the trade. */
export { openWorkbench } from './workbench.ts';
