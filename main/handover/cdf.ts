/**
 * The tables as ASAM CDF 2.0 (.cdfx): a VALUE, CURVE or MAP for each, and one beside it with its uncertainty. Calibration data hold no empty
 * places, so a table that has one is left out, and said. TAB-16.
 */
import { create } from 'xmlbuilder2';
import { rowsOfTable } from '../../app/handover/document.ts';
import type { ControllerCell, ControllerDocument, ControllerTable } from '../../app/handover/document.ts';
import { xmlText } from './xml-text.ts';

type Node = ReturnType<ReturnType<typeof create>['root']>;
type Valued = Extract<ControllerCell, { value: number }>;

const categories = ['VALUE', 'CURVE', 'MAP'] as const;

const whole = (table: ControllerTable): boolean => table.cells.every((cell) => 'value' in cell);

export interface CdfFile {
  readonly xml: string;
  /** Sentences. */
  readonly leftOut: readonly string[];
}

export function cdfFile(document: ControllerDocument): CdfFile {
  const xml = create({ version: '1.0', encoding: 'UTF-8' });
  const root = xml.ele('MSRSW');
  xml.dtd({ pubID: '-//ASAM//DTD CALIBRATION DATA FORMAT:V2.0.0:LAI:IAI:XML:CDF200.XSD//EN', sysID: 'cdf_v2.0.0.sl.dtd' });
  root.ele('SHORT-NAME').txt('InjectorTables').up().ele('CATEGORY').txt('CDF20');
  const system = root.ele('SW-SYSTEMS').ele('SW-SYSTEM');
  system.ele('SHORT-NAME').txt('Injectors');
  const tree = system.ele('SW-INSTANCE-SPEC').ele('SW-INSTANCE-TREE');
  tree.ele('SHORT-NAME').txt('Tables').up().ele('CATEGORY').txt('NO_VCD');
  const kept = document.tables.filter(whole);
  for (const table of kept) {
    const about = [table.title, table.of, ...table.conditions.map((c) => `${c.name} ${c.value} ${c.unit}`), `fluid ${table.fluid.name} (${table.fluid.basis})`].join(', ');
    instance(tree, table, table.id, about, ({ value }) => value);
    instance(tree, table, `${table.id}_U95`, `Expanded uncertainty, 95 %: ${about}`, ({ U95 }) => U95);
  }
  return {
    xml: `${xml.end({ prettyPrint: true })}\n`,
    leftOut: document.tables
      .filter((table) => !whole(table))
      .map((table) => `${table.id} is not in tables.cdfx: ${table.cells.filter((c) => !('value' in c)).length} of its ${table.cells.length} places have no value, and calibration data hold no empty places. Choose breakpoints that were measured.`),
  };
}

function instance(tree: Node, table: ControllerTable, name: string, about: string, read: (cell: Valued) => number): void {
  const one = tree.ele('SW-INSTANCE');
  one.ele('SHORT-NAME').txt(name).up().ele('LONG-NAME').txt(xmlText(about)).up().ele('CATEGORY').txt(categories[table.axes.length as 0 | 1 | 2]);
  const container = one.ele('SW-VALUE-CONT');
  container.ele('UNIT-DISPLAY-NAME').txt(table.unit);
  const physical = container.ele('SW-VALUES-PHYS');
  const [first] = table.axes;
  for (const [i, row] of rowsOfTable(table).entries()) {
    const group = table.axes.length === 2 ? physical.ele('VG') : physical;
    if (table.axes.length === 2) group.ele('LABEL').txt(String(first?.values[i]));
    for (const cell of row) if ('value' in cell) group.ele('V').txt(String(read(cell)));
  }
  if (table.axes.length === 0) return;
  const axes = one.ele('SW-AXIS-CONTS');
  for (const axis of table.axes) {
    const values = axes.ele('SW-AXIS-CONT').ele('CATEGORY').txt('STD_AXIS').up().ele('UNIT-DISPLAY-NAME').txt(axis.unit).up().ele('SW-VALUES-PHYS');
    for (const value of axis.values) values.ele('V').txt(String(value));
  }
}
