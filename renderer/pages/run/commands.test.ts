import { describe, expect, it } from 'vitest';
import type { RunEventBody } from '../../../app/journal/events.ts';
import type { Mode } from '../../../app/journal/state.ts';
import { commandsOf } from './commands.ts';
import { journalOf, planOf, started } from './journal.test-helper.ts';

const plan = planOf();
const begun: readonly RunEventBody[] = [{ kind: 'proving-started' }, { kind: 'measuring-started' }];
const makingSafe: RunEventBody = { kind: 'making-safe', then: { kind: 'paused' }, why: '' };
const asked = (command: 'pause-at-next-point'): RunEventBody => ({ kind: 'commanded', id: command, command: { kind: command }, by: 'Operator', answer: 'accepted', reason: '' });
const views = (bodies: readonly RunEventBody[]) => commandsOf(journalOf(plan, bodies).state);
const possible = (bodies: readonly RunEventBody[]) => views(bodies).filter((view) => view.against === '').map((view) => view.kind);

describe('commands of the run page', () => {
  it('keep their places and keys in every mode', () => {
    const modes: (readonly RunEventBody[])[] = [[], begun, [...begun, makingSafe], [...begun, makingSafe, { kind: 'paused' }], [...begun, makingSafe, { kind: 'tripped', guard: 'g', text: '' }], [...begun, makingSafe, { kind: 'ended', ending: 'aborted', text: '' }]];
    for (const bodies of modes) expect(views(bodies).map((view) => view.letter)).toEqual(['G', 'N', 'S', 'W', 'L', 'K', 'X']);
  });

  it('are those that the mode takes; the others say why not', () => {
    expect(possible([])).toEqual(['start', 'acknowledge', 'abort']);
    expect(possible([...begun, started(0)])).toEqual(['pause-at-next-point', 'pause-now', 'skip-wait', 'finish-early', 'abort']);
    expect(possible([...begun, makingSafe, { kind: 'paused' }])).toEqual(['resume', 'finish-early', 'abort']);
    expect(possible([...begun, makingSafe, { kind: 'tripped', guard: 'g', text: '' }])).toEqual(['finish-early', 'acknowledge', 'abort']);
    expect(possible([...begun, makingSafe, { kind: 'ended', ending: 'complete', text: '' }])).toEqual([]);
    expect(views([]).find((view) => view.kind === 'pause-now')?.against).toContain('not been started');
  });

  it('WIN-10: acknowledging and going on share neither key nor place', () => {
    for (const bodies of [[], [...begun, makingSafe, { kind: 'tripped', guard: 'g', text: '' } as const], [...begun, makingSafe, { kind: 'paused' } as const]]) {
      const shown = views(bodies);
      const acknowledge = shown.findIndex((view) => view.kind === 'acknowledge');
      const onward = shown.findIndex((view) => view.kind === 'resume' || view.kind === 'start');
      expect([onward, acknowledge]).toEqual([0, 5]);
      expect(shown[acknowledge]?.letter).not.toBe(shown[onward]?.letter);
    }
  });

  it('WIN-110: are refused by the window only where the mode that the host told last refuses them too', () => {
    const { state } = journalOf(plan, []);
    const taken = (told: Mode) => commandsOf(state, told).filter((view) => view.against === '').map((view) => view.kind);
    // The journal of this window is not as far as the run: its pause is for the engine to judge.
    expect(taken('proving')).toEqual(['start', 'pause-at-next-point', 'pause-now', 'finish-early', 'acknowledge', 'abort']);
    expect(taken('ready')).toEqual(['start', 'acknowledge', 'abort']);
    // The host says that the run is paused; here the journal of the measuring is read still, in which going on means nothing.
    const { state: measuring } = journalOf(plan, [...begun, started(0)]);
    expect(commandsOf(measuring, 'paused').find(({ kind }) => kind === 'resume')?.against).toBe('');
    expect(commandsOf(measuring, 'measuring').find(({ kind }) => kind === 'resume')?.against).toBe('The run is going on.');
  });

  it('take a pause back that was asked for', () => {
    expect(possible([...begun, started(0), asked('pause-at-next-point')])).toEqual(['resume', 'pause-now', 'skip-wait', 'finish-early', 'abort']);
  });

  it('do not skip the measuring window', () => {
    expect(possible([...begun, started(0), { kind: 'step', step: 'measure', point: 0, attempt: 1 }])).not.toContain('skip-wait');
  });

  it('ask before what cannot be taken back', () => {
    expect(views(begun).filter((view) => view.question !== null).map((view) => view.kind)).toEqual(['finish-early', 'abort']);
  });
});
