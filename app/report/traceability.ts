/** By which instruments the results are traceable, and what each error brings to them. REP-7. */
import type { Equipment } from '../equipment/equipment.ts';
import type { SheetInForce } from '../plan/preflight-line.ts';
import { minuteUtc } from '../qualification/utc.ts';
import { figure } from '../quantities/figures.ts';
import type { LineCell, Reduction } from '../reduce/reduction.ts';
import { budgetOfLine } from '../results/line-budget.ts';
import type { ReportDocument, ReportTable } from './document.ts';
import { bareCell, textCell } from './results-tables.ts';
import { reportUnits } from './units.ts';

export function traceabilityOf(equipment: Equipment, notTraceable: readonly string[], qualification: SheetInForce | null): ReportDocument['traceability'] {
  const instruments = [
    { name: 'Flow meter', of: equipment.meter, u: `${equipment.meter.relativeUncertaintyPercent} % of the K-factor` },
    { name: 'Pressure transducer', of: equipment.pressure, u: `${equipment.pressure.uncertaintyKpa} kPa` },
    { name: 'Thermometers', of: equipment.temperature, u: `${equipment.temperature.uncertaintyC} K` },
    { name: 'Supply voltmeter', of: equipment.supply, u: `${equipment.supply.uncertaintyMv} mV` },
  ];
  return {
    sentences: [
      notTraceable.length > 0
        ? `Traceability is NOT claimed: ${notTraceable.join(' ')}`
        : 'The results are traceable to the SI through the certificates below, as the equipment record of the bench states them; their issuers answer for what lies before them.',
      'Time: the clock of the controller, by the standard uncertainty of its rate that the record states; it was compared with the clock of the computer, which has no certificate.',
      `Density: ${equipment.fluid.measuredDensity === undefined ? 'equation of state of n-heptane (Span and Wagner 2003)' : 'measured value of the lot, carried to other temperatures by the equation of state (Span and Wagner 2003)'}, standard uncertainty ${equipment.fluid.densityUncertaintyPercent} %.`,
      ...(qualification === null ? [] : [`The bench ${qualification.bench} was qualified until ${minuteUtc(qualification.until)} when the run was opened: sheet ${qualification.version} of the laboratory, SHA-256 ${qualification.sha256}.`]),
    ],
    table: {
      id: 'instruments',
      title: 'Instruments and their certificates',
      corner: 'Instrument',
      columns: ['Serial number', 'Certificate', 'Date', 'Valid until', 'Standard uncertainty'].map((title) => ({ title, unit: null })),
      rows: instruments.map(({ name, of: { serialNumber, certificate }, u }) => ({ title: name, cells: [serialNumber, certificate.number, certificate.date, certificate.validUntil, u].map(textCell) })),
      notes: equipment.equipmentVersion === 2 ? [`Equipment record "${equipment.name}", controller ${equipment.controller.model} ${equipment.controller.serialNumber}.`] : [`Equipment record "${equipment.name}".`],
    },
  };
}

/** Budgets of dead time and slope, each for the line whose uncertainty is the largest at its pressure: no other is worse (7.8.4.1 a). */
export function budgetTables({ cells }: Omit<Reduction, 'windows'>): readonly ReportTable[] {
  const lines = cells.filter((c): c is LineCell => c.kind === 'line');
  return [...new Set(lines.map((c) => c.pressure))].flatMap((pressure, i) => {
    const here = lines.filter((c) => c.pressure === pressure);
    return (['deadTime', 'slope'] as const).flatMap((of): readonly ReportTable[] => {
      const cell = here.toSorted((a, b) => b[of].expanded - a[of].expanded)[0];
      return cell === undefined ? [] : [budgetOf(cell, of, i)];
    });
  });
}

/** Of the variance: what is less is shown together. */
const SMALL_PERCENT = 0.05;

function budgetOf(cell: LineCell, of: 'deadTime' | 'slope', index: number): ReportTable {
  const { rows, result } = budgetOfLine(cell, of);
  const unit = of === 'deadTime' ? reportUnits.microseconds : reportUnits.slope;
  const small = rows.filter((r) => r.sharePercent < SMALL_PERCENT);
  const shownRows = rows.filter((r) => r.sharePercent >= SMALL_PERCENT);
  // Four digits of the combined uncertainty: the smallest that is shown has two.
  const decimals = Math.max(0, 3 - Math.floor(Math.log10(result.u * unit.factor)));
  const name = of === 'deadTime' ? 'dead time X' : 'slope m';
  return {
    id: `budget-${of === 'deadTime' ? 'dead-time' : 'slope'}-${index + 1}`,
    title: `Uncertainty budget of the ${name} with the largest uncertainty at ${cell.pressure / 1e3} kPa: ${cell.serialNumber} at ${cell.voltage} V`,
    corner: 'Source of error',
    columns: [{ title: 'Kind', unit: null }, { title: 'u', unit, decimals }, { title: 'Variance', unit: reportUnits.percent, decimals: 1 }, { title: 'Meaning', unit: null }],
    rows: [
      ...shownRows.map((r) => ({ title: r.source, cells: [textCell(r.kind), bareCell(r.u), bareCell(r.sharePercent / 100), textCell(r.meaning)] })),
      ...(small.length === 0 ? [] : [{ title: `${small.length} smaller ones together`, cells: [textCell(''), bareCell(Math.hypot(...small.map((r) => r.u))), bareCell(small.reduce((sum, r) => sum + r.sharePercent, 0) / 100), textCell(small.map((r) => r.source).join('; '))] }]),
      { title: 'Combined standard uncertainty', cells: [textCell(''), bareCell(result.u), bareCell(1), textCell(`U = ${figure(result.expanded * unit.factor, result.expanded * unit.factor)} ${unit.shown}, k = ${result.coverageFactor.toFixed(2)}`)] },
    ],
    notes: ['Random errors are new with every window; shared ones are the same in all results of these instruments.'],
  };
}
