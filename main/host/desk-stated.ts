/** What others stated, what a type is like, and certificates of instruments, for windows. CMP-12, CMP-13, TAB-55 */
import type { AnswerTo, ParsedParams } from '../../app/contract/contract.ts';
import { withCertificate } from '../../app/equipment/certificate.ts';
import { statedOfRun } from '../../app/handover/stated.ts';
import { agreementOf, pairVerdict, placeWords } from '../../app/results/agreement.ts';
import { spreadWords, typeSpreads, type TypedRun } from '../../app/results/type-spread.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import type { Archive } from '../archive/archive.ts';
import { reduceState } from '../export/export-run.ts';
import { readDcc } from '../handover/read-dcc.ts';
import { statedInText, typedRuns } from '../handover/stated-text.ts';
import { uuidOfName } from '../handover/uuid.ts';
import { loadRun } from '../service/run-service.ts';

type Answer = { readonly ok: true; readonly value: { readonly json: string } } | { readonly ok: false; readonly code: 'no-run' | 'archive' | 'refused'; readonly text: string };

type Job =
  | { readonly kind: 'compare'; readonly params: Omit<ParsedParams<'run.compare'>, 'upload'>; readonly text: string }
  | { readonly kind: 'spread'; readonly params: ParsedParams<'types.spread'> }
  | { readonly kind: 'certificate'; readonly params: Omit<ParsedParams<'equipment.read-certificate'>, 'upload'>; readonly text: string; readonly equipment: Equipment };

/** Lets others have their turn; aborted: ends. */
interface Turns {
  readonly turn?: () => Promise<void>;
  readonly ending?: AbortSignal;
}

const refused = (text: string): Answer => ({ ok: false, code: 'refused', text });
const answered = (value: AnswerTo<'run.compare'> | AnswerTo<'types.spread'> | AnswerTo<'equipment.read-certificate'>): Answer => ({ ok: true, value: { json: JSON.stringify(value) } });

export async function statedAtDesk(archive: Archive, job: Job, at: Turns): Promise<Answer> {
  switch (job.kind) {
    case 'compare':
      return compared(archive, job.params, job.text);
    case 'spread':
      return spread(archive, job.params.type, at);
    case 'certificate': {
      const read = readDcc(job.text.replace(/^\uFEFF/u, ''));
      if (!read.ok) return answered({ ok: false, text: read.text, wants: null });
      const { instrument, validUntil, replaces } = job.params;
      const done = withCertificate(job.equipment, read.certificate, { instrument, replaces, ...(validUntil === null ? {} : { validUntil }) });
      return answered(done.ok ? { ok: true, document: done.equipment, said: [...done.said] } : { ok: false, text: done.text, wants: done.wants ?? null });
    }
  }
}

function compared(archive: Archive, { id, name }: Omit<ParsedParams<'run.compare'>, 'upload'>, text: string): Answer {
  const loaded = loadRun(archive, id);
  if (!loaded.ok) return { ok: false, code: loaded.code === 'no-such-run' ? 'no-run' : 'archive', text: loaded.text };
  const read = statedInText(name, text);
  if (!read.ok) return refused(`${name}: ${read.text}`);
  const { rows, left, text: verdict } = agreementOf(read.set, statedOfRun('this run', { id, equipment: loaded.state.equipment, reduction: reduceState(loaded.state) }, uuidOfName));
  return answered({
    text: verdict, left: [...left], said: [...read.said],
    rows: rows.map((row) => ({
      place: placeWords({ ...row.first, voltage: row.first.voltage ?? row.second.voltage, pressure: row.first.pressure ?? row.second.pressure, period: row.first.period ?? row.second.period }),
      quantity: row.first.quantity, first: row.first.value, firstExpanded: row.first.expanded, second: row.second.value, secondExpanded: row.second.expanded,
      difference: row.difference, expanded: row.expanded, en: row.en, zeta: row.zeta, verdict: pairVerdict(row),
    })),
  });
}

class Unreadable extends Error {}

/** In steps, so that whoever ends the desk is heard between the runs. */
async function spread(archive: Archive, type: string, { turn, ending }: Turns): Promise<Answer> {
  const runs: TypedRun[] = [];
  try {
    for (const run of typedRuns(archive, type, (id) => {
      const loaded = loadRun(archive, id);
      if (!loaded.ok) throw new Unreadable(loaded.text);
      return loaded.state;
    })) {
      runs.push(run);
      await turn?.();
      ending?.throwIfAborted();
    }
  } catch (error) {
    if (error instanceof Unreadable) return { ok: false, code: 'archive', text: error.message };
    throw error;
  }
  return answered({
    runs: runs.length,
    spreads: typeSpreads(runs, type).map((s) => ({
      quantity: s.quantity, voltage: s.voltage, pressure: s.pressure, period: s.period, injectors: s.injectors, results: s.results, mean: s.mean.value, u: s.mean.u, expanded: s.mean.expanded,
      seen: s.seen, measuring: s.measuring, left: s.left, tolerance: s.tolerance === null ? null : { low: s.tolerance.low, high: s.tolerance.high }, text: spreadWords(s),
    })),
  });
}
