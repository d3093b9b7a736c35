/** A check that is about to be kept: held against what is kept already, with its verdict written into it (MC-18). */
import type { Equipment } from '../equipment/equipment.ts';
import { meterHistory, type HistoryEntry, type MeterHistory, type NumberedCheck } from './in-force.ts';
import type { MeterCheck } from './meter-check.ts';

export type JudgedCheck =
  | { readonly ok: true; readonly check: MeterCheck; readonly entry: HistoryEntry & { readonly outcome: Extract<HistoryEntry['outcome'], { readonly comparison: unknown }> }; readonly history: MeterHistory }
  /** `text`: why it cannot be kept, one sentence or more; what is safe and what to do is for whoever asked. */
  | { readonly ok: false; readonly reason: 'judged' | 'other-meter' | 'kept-already' | 'not-evaluated'; readonly text: string };

/** `before`: all that is kept, in the order in which it came. `record`: the equipment record that it is held against. */
export function judgeCheck(before: readonly NumberedCheck[], record: Equipment, check: MeterCheck): JudgedCheck {
  if (check.judged !== undefined) return { ok: false, reason: 'judged', text: 'judged: The program writes this field itself. Take it out.' };
  if (check.meterSerialNumber !== record.meter.serialNumber) {
    return { ok: false, reason: 'other-meter', text: `The check is of meter ${check.meterSerialNumber}, the equipment record of meter ${record.meter.serialNumber}.` };
  }
  // A certificate that was put right has a number of its own (ISO/IEC 17025:2017, 7.8.8.3, from memory).
  const same = before.find((kept) => kept.check.meterSerialNumber === check.meterSerialNumber && kept.check.certificate.number === check.certificate.number);
  if (same !== undefined) {
    return { ok: false, reason: 'kept-already', text: `Certificate ${check.certificate.number} of meter ${check.meterSerialNumber} is kept already, as check ${same.no}. What is kept stays as it is.` };
  }
  const no = (before.at(-1)?.no ?? 0) + 1;
  const history = meterHistory([...before, { no, check }], record, check.certificate.date);
  const entry = history.entries.find((e) => e.no === no);
  if (entry === undefined) throw new Error('the check is of this meter and not after its own day');
  const { outcome } = entry;
  if (outcome.evaluated === null) return { ok: false, reason: 'not-evaluated', text: outcome.text };
  const { verdict, text } = outcome.comparison;
  return { ok: true, check: { ...check, judged: { against: history.record.meter, verdict, effect: entry.effect, text } }, entry: { ...entry, outcome }, history };
}
