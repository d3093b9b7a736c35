/**
 * Injectors that were booked in by mistake are withdrawn: they leave the lists, and everything that was saved of them stays in the archive, with who withdrew them, when and why. Each
 * withdrawal, and each taking back of one, is a version of a record under the id of the injector.
 */
import type { UnixMillis } from '../../app/quantities/quantity.ts';
import type { Archive } from './archive.ts';
import type { StoredPart } from './library.ts';
import { openingOf } from './opening.ts';
import type { NotKept, Saved } from './shelf.ts';

export interface Withdrawal {
  readonly part: StoredPart;
  readonly at: UnixMillis;
  readonly by: string;
  readonly reason: string;
}

const kind = 'withdrawal';
const refused = (text: string): NotKept => ({ ok: false, code: 'refused', text });
const named = ({ type, serialNumber }: StoredPart): string => `${type} ${serialNumber}`;

/** Those that are withdrawn now, the latest first. */
export function withdrawals(archive: Archive): Withdrawal[] {
  const records = new Map(archive.records.latest(kind).map((record) => [record.name, record]));
  return archive.library.withdrawnParts().flatMap((part) => {
    const record = records.get(part.id);
    return record === undefined ? [] : [{ part, at: record.savedAt, by: record.savedBy, reason: (record.document as { readonly reason: string }).reason }];
  }).sort((a, b) => b.at - a.at);
}

/** Refused where a run has used the injector: what was measured belongs to it for good. */
export function withdraw(archive: Archive, id: string, by: string, reason: string): Saved<StoredPart> {
  const part = archive.library.parts().find((one) => one.id === id);
  if (part === undefined) return refused('This archive has no such injector, or it has been withdrawn already. Nothing was changed. Load the list again.');
  const run = runWith(archive, part);
  if (run !== null) {
    return refused(
      `${named(part)} was measured in the run of ${run.planName}${run.order === '' ? '' : `, job ${run.order}`}: what a run has used stays. Nothing was changed. Clear its channel to take it off the bench; is its serial number wrong, write a note about it in that run, and book the right one in.`,
    );
  }
  const saved = archive.records.save({ kind, name: id, by, document: { withdrawn: true, type: part.type, serialNumber: part.serialNumber, order: part.order, reason } });
  return saved.ok ? { ok: true, value: part } : saved;
}

/** Takes a withdrawal back: the injector is as it was; without its channel where another has that by now. */
export function takeBackWithdrawal(archive: Archive, id: string, by: string): Saved<StoredPart> {
  const part = archive.library.withdrawnParts().find((one) => one.id === id);
  if (part === undefined) return refused('This injector is not withdrawn. Nothing was changed. Load the list again.');
  const others = archive.library.parts();
  if (others.some(({ type, serialNumber }) => type === part.type && serialNumber === part.serialNumber)) {
    return refused(`${named(part)} has been booked in again meanwhile, and one injector is there once. Nothing was changed. Go on with that entry.`);
  }
  const taken = part.channel !== null && others.some(({ channel }) => channel === part.channel);
  // First, while it is withdrawn: two injectors are never on one channel, whenever the program ends.
  const unmounted = taken ? archive.library.unmountWithdrawn(id) : null;
  if (unmounted?.ok === false) return unmounted;
  const saved = archive.records.save({ kind, name: id, by, document: { withdrawn: false } });
  return saved.ok ? { ok: true, value: { ...part, channel: taken ? null : part.channel } } : saved;
}

/** The latest run whose plan has the injector. */
function runWith(archive: Archive, { type, serialNumber }: StoredPart): { readonly planName: string; readonly order: string } | null {
  for (const run of archive.everyRun({ text: serialNumber })) {
    if (openingOf(archive, run.id)?.plan.injectors.some((one) => one.serialNumber === serialNumber && one.type === type) === true) return run;
  }
  return null;
}
