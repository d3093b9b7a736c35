/** What the lab keeps to work with. */
import type { libraryRequests } from '../../app/contract/library-requests.ts';
import { parsePlan } from '../../app/plan/parse.ts';
import { takeBackWithdrawal, withdraw, withdrawals } from '../archive/withdrawals.ts';
import { Failed, notSaved } from './outcome.ts';
import type { HandlersOf, HostRoom } from './host-room.ts';

export const libraryHandlers = ({ parts, sessions, bench, records, onCall, desk }: HostRoom): HandlersOf<typeof libraryRequests> => ({
  'parts.list': () => parts.archive.library.parts(),
  'parts.save': ({ parts: injectors }) => {
    const saved = parts.archive.library.saveParts(injectors);
    return saved.ok ? saved.value : notSaved(saved);
  },
  'parts.withdrawn': () => withdrawals(parts.archive).slice(0, 200).map(({ part, ...about }) => ({ ...about, part: { ...part } })),
  'parts.withdraw': ({ id, by, reason }) => {
    const done = withdraw(parts.archive, id, by, reason);
    return done.ok ? parts.archive.library.parts() : notSaved(done);
  },
  'parts.take-back': ({ id, by }) => {
    const done = takeBackWithdrawal(parts.archive, id, by);
    return done.ok ? parts.archive.library.parts() : notSaved(done);
  },
  'plans.list': () => parts.archive.library.plans(),
  'plans.versions': ({ id }) => parts.archive.library.planVersions(id),
  'plans.read': ({ id, version }) =>
    parts.archive.library.plan(id, version) ?? new Failed('bad-request', 'This archive has no such version of a plan. Load the list of plans again.'),
  'plans.save': ({ id, document, by }) => {
    const parsed = parsePlan(document);
    if (!parsed.ok) return { row: null, problems: [...parsed.problems] };
    const saved = parts.archive.library.savePlan({ id, name: parsed.plan.name, document, by });
    return saved.ok ? { row: saved.value, problems: [] } : notSaved(saved);
  },
  'layouts.list': () => desk.text({ kind: 'layouts' }),
  'layouts.save': ({ document }) => desk.value({ kind: 'keep-layout', document }),
  'layouts.remove': ({ name }) => desk.value({ kind: 'remove-layout', name }),
  'drafts.list': ({ window: id }, window) => {
    sessions.nameDrafts(window, id);
    return desk.value({ kind: 'drafts', here: sessions.draftWindows, now: parts.clock.unixNow() });
  },
  'drafts.keep': (params) => desk.value({ kind: 'keep-draft', params, at: parts.clock.unixNow() }),
  'drafts.take': (params) => desk.value({ kind: 'take-draft', params }),
  'on-call.read': () => onCall.view(),
  'on-call.save': ({ webhook }) => {
    const problem = onCall.save(webhook);
    return problem === null ? onCall.view() : new Failed('archive', problem);
  },
  'on-call.try': async () => ({ said: [...(await onCall.tryOut())] }),
  'types.known': (params) => desk.value({ kind: 'known-types', params }),
  'plan.check': ({ document }) => {
    const equipment = records.record();
    if (equipment instanceof Failed) return equipment;
    const { connected } = bench;
    return desk.value({
      kind: 'check',
      document,
      capabilities: connected?.bench.capabilities ?? null,
      controller: connected === null ? null : { ...connected.bench.identity, simulated: connected.place.simulated },
      equipment,
      freeDiskBytes: parts.freeDiskBytes(),
      today: records.today(),
      now: records.now(),
    });
  },
});
