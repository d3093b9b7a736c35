import { decimals } from '../../components/decimals.ts';
import { useDeferredValue, useMemo, useRef, useState } from 'react';
import { figureShown as figure, plainShown as plain, plusMinusShown as plusMinus } from '../../components/figures.ts';
import { mapTables } from '../../../app/tables/map.ts';
import type { GridCell, GridTable } from '../../../app/tables/grid.ts';
import { Button } from '../../components/button.tsx';
import { Choice, TextInput } from '../../components/field.tsx';
import { Section } from '../../components/page.tsx';
import { PictureButtons } from '../../components/picture-buttons.tsx';
import { saveFile } from '../../components/save-file.ts';
import { shownText } from '../../components/shown-text.ts';
import { Notice } from '../../components/status.tsx';
import { FigureTable, Missing, MissingList } from './figure-table.tsx';
import { againstDrawing, basisMarks, mapCsv, readAxis, shadeIn } from './maps-view.ts';
import type { ViewProps } from './view-props.ts';
import { quantityFigure, quantityText, unitShown } from '../../settings/quantities.ts';
import { settings } from '../../settings/settings.ts';
import { useTyped } from '../../typed/typed.ts';
import './maps.css';

type Quantity = 'dead-time' | 'slope';
const bases = Object.keys(basisMarks) as (keyof typeof basisMarks)[];

/** Dead time or slope over supply voltage and rail pressure, on axes that a person chooses. WIN-62 */
export function MapsPanel({ id, results, amounts }: Omit<ViewProps, 'selection' | 'onWish'> & { readonly id: string }) {
  const [quantity, setQuantity] = useState<Quantity>('dead-time');
  const [of, setOf] = useState<string | null>(null);
  const [voltages, setVoltages] = useTyped('results/map/voltages', '', { title: 'Voltages of a map' });
  const [pressures, setPressures] = useTyped('results/map/pressures', '', { title: 'Pressures of a map' });
  const [volts, kilopascals] = [useDeferredValue(voltages), useDeferredValue(pressures)];
  const axes = useMemo(() => ({ voltages: readAxis(volts, 1), pressures: readAxis(kilopascals, 1e3, 'kPa', results.reduction.cells.map((c) => c.pressure)) }), [volts, kilopascals, results]);
  const periods = useMemo(() => [...new Set(results.reduction.cells.map((c) => c.period as number))].sort((a, b) => a - b), [results]);
  const [wished, setWished] = useState<number | null>(null);
  const period = periods.find((one) => one === wished) ?? periods[0];
  const measured = useMemo(() => {
    const rising = (values: readonly number[]): string => [...new Set(values)].sort((a, b) => a - b).map(plain).join('; ');
    return { volts: rising(results.reduction.cells.map((c) => c.voltage)), kilopascals: rising(results.reduction.cells.map((c) => Number(quantityFigure(c.pressure / 1e3, 'kPa')))) };
  }, [results]);
  const tables = useMemo(() => {
    if (!axes.voltages.ok || !axes.pressures.ok) return [];
    const { reduction } = results;
    return mapTables({ ...reduction, cells: reduction.cells.filter((c) => c.period === period) }, quantity, { voltages: axes.voltages.values, pressures: axes.pressures.values });
  }, [results, quantity, axes, period]);
  const table = tables.find((one) => one.of === of) ?? tables[0];
  return (
    <>
      <div className="field-row">
        <Choice
          label="Quantity"
          value={quantity}
          options={[
            { value: 'dead-time', text: 'Dead time' },
            { value: 'slope', text: 'Slope' },
          ]}
          onChange={setQuantity}
        />
        {periods.length > 1 && <Choice label="Period" value={String(period)} options={periods.map((one) => ({ value: String(one), text: `${plain(one * 1e3)} ms` }))} onChange={(value) => setWished(Number(value))} />}
        <Choice label="Of" value={table?.of ?? of ?? ''} options={(tables.length > 0 ? tables.map((one) => one.of) : [of ?? '']).map((value) => ({ value, text: value }))} onChange={setOf} />
        <TextInput label="Supply voltages, V" value={voltages} onChange={setVoltages} problem={axes.voltages.ok ? '' : axes.voltages.text} hint={decimals(`Empty: as measured (${measured.volts}). Like 8; 9-16 by 0.5`)} />
        <TextInput label={`Rail pressures, ${unitShown('kPa')}`} value={pressures} onChange={setPressures} problem={axes.pressures.ok ? '' : axes.pressures.text} hint={`Empty: as measured (${measured.kilopascals}). Like ${{ kPa: '300-450 by 25', bar: '3-4.5 by 0.25', psi: '45-65 by 5' }[settings().pressureUnit]}`} />
      </div>
      {table !== undefined && <MapOf key={`${table.of} ${quantity}`} id={id} table={table} unit={quantity === 'dead-time' ? 'ms' : amounts.slopeUnit} convert={quantity === 'dead-time' ? (s) => s * 1e3 : amounts.slope} />}
    </>
  );
}

interface MapOfProps {
  readonly id: string;
  readonly table: GridTable;
  readonly unit: string;
  readonly convert: (value: number) => number;
}

function MapOf({ id, table, unit, convert }: MapOfProps) {
  const drawing = useRef<HTMLElement>(null);
  const name = `${table.quantity === 'dead-time' ? 'Dead time' : 'Slope'} of ${table.of} over voltage and pressure`;
  const against = againstDrawing(table);
  const present = bases.filter((basis) => table.cells.some((row) => row.some((cell) => cell.kind === 'value' && cell.basis === basis)));
  const missing = table.rows.values.flatMap((voltage, i) => table.columns.values.flatMap((pressure, j) => {
    const cell = table.cells[i]?.[j];
    return cell?.kind === 'missing' ? [{ where: `${plain(voltage)} V, ${quantityText(pressure / 1e3, 'kPa')}`, why: cell.text }] : [];
  }));
  const told = (cell: GridCell | undefined): string | null => (cell?.kind === 'value' ? plusMinus(convert(cell.result.value), convert(cell.result.expanded)) : null);
  return (
    <>
      <Section title={`${name}, ${unit}`} wide>
        {against !== '' ? (
          <Notice tone="note">{against}</Notice>
        ) : (
          <figure className="chart map" ref={drawing}>
            <HeatMap table={table} name={`${name}, ${unit}`} convert={convert} />
          </figure>
        )}
        <ul className="map-key">
          {present.map((basis) => (
            <li key={basis}>
              <strong>{basisMarks[basis].sign}</strong> {basisMarks[basis].word}: {basisMarks[basis].about}
            </li>
          ))}
          {missing.length > 0 && (
            <li>
              <strong>–</strong> no value, crossed out: the reason stands below the table
            </li>
          )}
        </ul>
        <div className="button-row">
          {against === '' && <PictureButtons of={drawing} name={name} />}
          <Button onPress={() => saveFile(`${name.replaceAll(/[^\p{L}\p{N}.-]+/gu, '-')}_${id.slice(-8)}.csv`, [mapCsv(table, id)])}>Save as CSV</Button>
        </div>
      </Section>
      <Section title="Numbers" wide>
        <FigureTable
          caption={`${name} in ${unit}, voltage down and pressure across; ± is the expanded uncertainty (95 %), the sign says how the cell came about`}
          columns={['Supply, V', ...table.columns.values.map((pressure) => quantityText(pressure / 1e3, 'kPa'))]}
          narrow
          rows={table.rows.values.map((voltage, i) => ({
            key: String(voltage),
            head: plain(voltage),
            cells: table.columns.values.map((pressure, j) => {
              const cell = table.cells[i]?.[j];
              if (cell?.kind !== 'value') return <Missing key={pressure} why={cell?.text ?? ''} />;
              return (
                <span key={pressure}>
                  {told(cell)} <span aria-hidden="true">{basisMarks[cell.basis].sign}</span>
                  <span className="unseen"> {basisMarks[cell.basis].word}</span>
                </span>
              );
            }),
          }))}
        />
        <p className="small quiet">{shownText(table.method)}.</p>
        <MissingList of={missing} />
      </Section>
    </>
  );
}

const size = { left: 62, top: 34, height: 46, least: 92, most: 150 };

/** Each cell holds its value, its U95 and a sign; the shade is an addition. Readers of the screen are sent to the table. */
function HeatMap({ table, name, convert }: { readonly table: GridTable; readonly name: string; readonly convert: (value: number) => number }) {
  const shade = shadeIn(table);
  const { rows, columns } = table;
  const width = Math.min(size.most, Math.max(size.least, 1150 / columns.values.length));
  const [whole, high] = [size.left + width * columns.values.length + 8, size.top + size.height * rows.values.length + 8];
  return (
    <svg className="heat-map" viewBox={`0 0 ${whole} ${high}`} width={whole} height={high} role="img" aria-label={`Map: ${name}. The table below holds the same numbers.`}>
      <defs>
        <pattern id="map-outside" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">
          <line x1="0" y1="0" x2="0" y2="7" className="map-hatch" />
        </pattern>
        <pattern id="map-dots" width="8" height="8" patternUnits="userSpaceOnUse">
          <circle cx="2" cy="2" r="1" className="map-dot" />
        </pattern>
      </defs>
      <text x={size.left - 8} y={size.top - 12} textAnchor="end" className="map-axis">V \ {unitShown('kPa')}</text>
      {columns.values.map((pressure, j) => (
        <text key={pressure} x={size.left + width * (j + 0.5)} y={size.top - 12} textAnchor="middle" className="map-axis">
          {decimals(quantityFigure(pressure / 1e3, 'kPa'))}
        </text>
      ))}
      {rows.values.map((voltage, i) => (
        <text key={voltage} x={size.left - 8} y={size.top + size.height * (i + 0.5) + 5} textAnchor="end" className="map-axis">
          {plain(voltage)}
        </text>
      ))}
      {table.cells.flatMap((row, i) => row.map((cell, j) => <MapCell key={`${i} ${j}`} cell={cell} at={{ x: size.left + width * j, y: size.top + size.height * i, width }} shade={shade} convert={convert} />))}
    </svg>
  );
}

interface MapCellProps {
  readonly cell: GridCell;
  readonly at: { readonly x: number; readonly y: number; readonly width: number };
  readonly shade: (value: number) => number;
  readonly convert: (value: number) => number;
}

function MapCell({ cell, at: { x, y, width }, shade, convert }: MapCellProps) {
  const [w, h] = [width - 3, size.height - 3];
  if (cell.kind === 'missing') {
    return (
      <g>
        <rect x={x} y={y} width={w} height={h} className="map-cell map-missing" />
        <line x1={x} y1={y} x2={x + w} y2={y + h} className="map-cross" />
        <line x1={x} y1={y + h} x2={x + w} y2={y} className="map-cross" />
      </g>
    );
  }
  const { value, expanded } = cell.result;
  const pattern = cell.basis === 'extrapolated' || cell.basis === 'unresolved' ? 'url(#map-outside)' : cell.basis === 'measured' ? null : 'url(#map-dots)';
  return (
    <g>
      <rect x={x} y={y} width={w} height={h} className="map-cell" fillOpacity={0.06 + 0.3 * shade(value)} />
      {pattern !== null && <rect x={x} y={y} width={w} height={h} fill={pattern} />}
      <rect x={x} y={y} width={w} height={h} className={`map-frame map-frame-${cell.basis}`} />
      <text x={x + 6} y={y + 16} className="map-sign">
        {basisMarks[cell.basis].sign}
      </text>
      <text x={x + w - 7} y={y + 19} textAnchor="end" className="map-value">
        {figure(convert(value), convert(expanded))}
      </text>
      <text x={x + w - 7} y={y + 35} textAnchor="end" className="map-u">
        ± {figure(convert(expanded), convert(expanded))}
      </text>
    </g>
  );
}
