import { describe, expect, it, vi } from 'vitest';
import type { RunEvent } from '../../app/journal/events.ts';
import { ArchiveBroken } from '../../main/archive/invariants.ts';
import { openingWritten } from '../../main/service/load-run.ts';
import { brokenByCommit, brokenByStep } from '../../main/service/invariants.ts';
import type { Archive } from '../../main/archive/archive.ts';
import { runInProcess, samplePlan, scenario, withoutLeakChecks } from '../builders/in-process.ts';

describe('RUN-201 what must hold after a step', () => {
  const state = { mode: 'measuring', current: null, revision: 8 } as const;
  const paused = { kind: 'wait-skipped', step: 'settle', point: 0, attempt: 1 } as const;
  const asking = (kind: 'arm' | 'make-safe') => [{ id: 1, request: { kind }, deadline: 0 }];

  it('the state has taken the events that are written, no more and no fewer', () => {
    expect(brokenByStep({ events: [paused], requests: [] }, state, 7)).toBeNull();
    expect(brokenByStep({ events: [], requests: [] }, state, 7)).toMatch(/1 events where 0/);
    expect(brokenByStep({ events: [paused, paused], requests: [] }, state, 7)).toMatch(/1 events where 2/);
  });

  it('a bench is armed while proving or measuring only, and made safe at any time', () => {
    for (const mode of ['proving', 'measuring'] as const) expect(brokenByStep({ events: [], requests: asking('arm') }, { ...state, mode }, 8)).toBeNull();
    for (const mode of ['ready', 'making-safe', 'paused', 'held', 'tripped', 'ended'] as const) {
      expect(brokenByStep({ events: [], requests: asking('arm') }, { ...state, mode }, 8)).toContain(`"arm" while it is ${mode}`);
      expect(brokenByStep({ events: [], requests: asking('make-safe') }, { ...state, mode }, 8)).toBeNull();
    }
  });

  it('no attempt is open at a rest', () => {
    const current = { point: 0, attempt: 1, reason: 'plan', origin: 'first-pass', step: null, skippedWaits: [] } as const;
    expect(brokenByStep({ events: [], requests: [] }, { ...state, current }, 8)).toBeNull();
    for (const mode of ['paused', 'held', 'tripped', 'ended'] as const) expect(brokenByStep({ events: [], requests: [] }, { ...state, current, mode }, 8)).toContain(mode);
  });

  it('the journal on the disk is as long as the state says', () => {
    const written = (seq: number) => [{ seq } as RunEvent];
    expect(brokenByCommit([], state)).toBeNull();
    expect(brokenByCommit(written(7), state)).toBeNull();
    expect(brokenByCommit(written(6), state)).toMatch(/7 events and the state of the run 8/);
    expect(brokenByCommit(written(8), state)).not.toBeNull();
  });
});

type Append = Archive['append'];

/** A run whose archive does something else from its first measured point on. */
async function withArchive(other: (append: Append) => Append) {
  let done = false;
  return runInProcess({
    plan: samplePlan('small-plan', withoutLeakChecks),
    scenario: scenario(),
    onEvents: (events, { archive }) => {
      if (done || !events.some(({ kind }) => kind === 'attempt-started')) return;
      done = true;
      vi.spyOn(archive, 'append').mockImplementation(other(archive.append.bind(archive)));
    },
  });
}

describe('RUN-201 a program that finds itself wrong', () => {
  it.each([
    ['the journal on the disk is shorter', (append: Append): Append => (id, events, frames) => {
      const written = append(id, events, frames);
      return written.ok ? { ...written, events: written.events.map((event) => ({ ...event, seq: event.seq - 1 })) } : written;
    }],
    ['the archive throws', (): Append => () => {
      throw new Error('FOREIGN KEY constraint failed');
    }],
  ])('%s: the bench is made safe, the run given up in words, and nothing is thrown', async (_, other) => {
    const { rest } = await withArchive(other);
    expect(rest).toMatchObject({ kind: 'failed', code: 'defect' });
    if (rest.kind === 'failed') expect(rest.text).toMatch(/fault of its own.*was made safe.*is kept, and the run can be continued/s);
  });
});

it('ARC-65 a run is not opened into an archive that finds its writer wrong, and the bench is let go of', () => {
  const broken = openingWritten(() => {
    throw new ArchiveBroken('The journal on the disk has 3 events and its writer remembers 2 (ARC-62).');
  });
  expect(broken).toMatchObject({ ok: false });
  expect(broken.ok ? '' : broken.text).toMatch(/fault of its own in its archive: The journal .* was not opened; .* is kept/);
  expect(() => openingWritten(() => {
    throw new Error('another');
  })).toThrow('another');
  expect(openingWritten(() => ({ ok: true, events: [] }))).toEqual({ ok: true, events: [] });
});
