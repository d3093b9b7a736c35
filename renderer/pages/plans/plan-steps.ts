/** What was changed between two states of the form, in words, and what of it is one change (letters typed into one field). */
import type { Step } from '../../components/undo.ts';
import { fieldAt, listNames, listPaths } from './fields.ts';
import type { FieldPath } from './fields.ts';
import type { PlanForm } from './plan-form.ts';

type Words = Omit<Step<PlanForm>, 'before'>;
type Row = Readonly<Record<string, unknown>> & { readonly key: number };

const tables = [
  { table: 'injectors', one: 'injector' },
  { table: 'types', one: 'type' },
  { table: 'guards', one: 'guard' },
] as const;

export function stepBetween(before: PlanForm, after: PlanForm): Words {
  const found: Words[] = [];
  for (const path of new Set([...Object.keys(before.texts), ...Object.keys(after.texts)]) as Set<FieldPath>) {
    if (before.texts[path] !== after.texts[path]) found.push({ what: fieldAt(path).label, mark: path });
  }
  for (const list of listNames) {
    const [was, is] = [before.axes[list] ?? [], after.axes[list] ?? []];
    if (was.join() === is.join()) continue;
    const { label } = fieldAt(listPaths[list]);
    const less = was.length - is.length;
    found.push({ what: less > 0 ? `${less === 1 ? 'a value' : `${less} values`} of ${label} removed` : less < 0 ? `${less === -1 ? 'a value' : `${-less} values`} of ${label} added` : label, mark: '' });
  }
  for (const { table, one } of tables) {
    const step = rowStep(before[table], after[table], one);
    if (step !== null) found.push(step);
  }
  if (before.targetsKnown !== after.targetsKnown) found.push({ what: 'what is known of types', mark: '' });
  if (before.hasReference !== after.hasReference) found.push({ what: 'reference point', mark: '' });
  const [only] = found;
  return found.length === 1 && only !== undefined ? only : { what: found[0]?.what ?? 'change', mark: '' };
}

function rowStep(before: readonly Row[], after: readonly Row[], one: string): Words | null {
  if (before === after) return null;
  const less = before.length - after.length;
  if (less !== 0) return { what: `${Math.abs(less) === 1 ? one : `${Math.abs(less)} ${one}s`} ${less > 0 ? 'removed' : 'added'}`, mark: '' };
  const changed = after.flatMap((row, i) => Object.keys(row).flatMap((column) => (before[i]?.[column] === row[column] ? [] : [`${row.key}.${column}`])));
  return changed.length === 0 ? null : { what: one, mark: changed.length === 1 ? `${one}.${changed[0] ?? ''}` : '' };
}
