/** One run: on the bench, and what is stored of it. */
import type { runRequests } from '../../app/contract/run-requests.ts';
import { parsePlan } from '../../app/plan/parse.ts';
import { inWords } from './equipment-at-host.ts';
import { Failed, notOpen } from './outcome.ts';
import type { HandlersOf, HostRoom } from './host-room.ts';

export const runHandlers = ({ parts, changes, runs, exports, records, desk }: HostRoom): HandlersOf<typeof runRequests> => ({
  'run.open': ({ document, operator }) =>
    changes.make('A run is being opened', () => {
      const parsed = parsePlan(document);
      if (!parsed.ok) return new Failed('bad-request', `The plan cannot be used. ${inWords(parsed.problems)}`);
      const equipment = records.record();
      if (equipment instanceof Failed) return equipment;
      return runs.open({ kind: 'new', plan: parsed.plan, equipment, operator, software: parts.software });
    }),
  'run.continue': ({ id }) =>
    runs.run?.id === id ? { id } : changes.make('A run is being opened', () => runs.open({ kind: 'stored', id })),
  'run.command': ({ id, command, by, commandId }) => runs.command(id, command, by, commandId),
  'run.close': ({ id }) => {
    if (runs.run?.id !== id) return notOpen();
    if (runs.isActive) return new Failed('busy', 'The run is going on. Pause, finish or abort it first.');
    return changes.make('A run is being closed', async () => {
      await runs.close();
      return {};
    });
  },
  'run.journal': (params) => desk.text({ kind: 'journal', params }),
  'run.condensed': (params) => desk.text({ kind: 'condensed', params }),
  'run.telemetry': (params) => desk.text({ kind: 'telemetry', params }),
  'run.signals': (params) => desk.text({ kind: 'signals', params }),
  'run.stability': (params) => desk.text({ kind: 'stability', params }),
  'run.export': async (params) => {
    const made = await desk.value({ kind: 'export', params, software: parts.software });
    return made instanceof Failed ? made : exports.keep(made);
  },
  'export.piece': ({ export: name, file, from }) => {
    const path = exports.pathOf(name, file);
    if (path === null) return new Failed('bad-request', 'The host keeps no such file any more. Export the run again.');
    return desk.text({ kind: 'piece', path, from });
  },
});
