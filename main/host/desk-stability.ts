/** How steady a bench held a point, from the frames of a stored run, for windows. WIN-200 */
import type { AnswerTo, ParsedParams } from '../../app/contract/contract.ts';
import { driftSentence, paysSentence } from '../../app/results/stability-words.ts';
import type { Archive } from '../archive/archive.ts';
import { stabilityOfRun } from '../export/held-windows.ts';
import { loadRun } from '../service/run-service.ts';

type Told = AnswerTo<'run.stability'>;

const nothing = (text: string): Told => ({ at: null, text, step: 0, duration: 0, windows: 0, signals: [] });

/** As the command has it. */
export function stabilityForWindow(archive: Archive, { id }: ParsedParams<'run.stability'>): Told {
  const loaded = loadRun(archive, id);
  if (!loaded.ok) return nothing(loaded.text);
  const { state } = loaded;
  const found = stabilityOfRun(archive, id, state);
  if (found.kind === 'no-stability') return nothing(found.text);
  const { injector, voltage, pressure, width, period } = found.at;
  return {
    at: { serialNumber: state.plan.injectors[injector]?.serialNumber ?? '', voltage, pressure, width, period },
    text: '', step: found.step, duration: found.duration, windows: found.windows.length,
    signals: found.signals.map((one) => ({
      signal: one.signal, rows: one.rows.map(({ time, deviation, low, high, dof, noise }) => ({ time, deviation, low, high, dof, noise })), paysUntil: one.pays?.time ?? null, pays: paysSentence(one), drift: driftSentence(one),
    })),
  };
}
