import { describe, expect, it } from 'vitest';
import type { RunEventBody } from '../../app/journal/events.ts';
import { runInProcess, samplePlan, scenario, withoutLeakChecks } from '../builders/in-process.ts';

const within = new Set<RunEventBody['kind']>(['attempt-started', 'step']);

describe('RUN-221 frames wait for the end of their attempt', () => {
  it('commits within an attempt bring none, all others what came up to them, and an attempt is one stretch', async () => {
    let [stretches, attempts, commits] = [0, 0, 0];
    let stored = 0;
    const { verified } = await runInProcess({
      plan: samplePlan('small-plan', withoutLeakChecks),
      scenario: scenario(),
      onEvents: (events, { archive, service, command }) => {
        const before = stored;
        const chunks = [...archive.telemetryChunks(service.id)];
        stretches = chunks.length;
        stored = chunks.reduce((sum, { frames }) => sum + frames.length, 0);
        commits += 1;
        if (events.every(({ kind }) => within.has(kind))) {
          expect(stored, events.map(({ kind }) => kind).join()).toBe(before);
          return;
        }
        for (const body of events) {
          if (body.kind !== 'attempt-ended') continue;
          attempts += 1;
          if (body.window === null) continue;
          expect(chunks.at(-1)?.frames.at(-1)?.at).toBeGreaterThanOrEqual(body.window.to);
          expect(stored).toBeGreaterThan(before);
        }
        if (attempts === 3 && events.some(({ kind }) => kind === 'attempt-ended')) command({ kind: 'pause-now' });
      },
      atRest: (rest) => (rest.kind === 'resting' && rest.mode === 'paused' ? { kind: 'resume' } : null),
    });
    expect(verified).toBe(true);
    expect(attempts).toBeGreaterThan(4);
    expect(commits).toBeGreaterThan(3 * attempts);
    expect(stretches).toBeLessThan(1.5 * attempts + 10);
  });
});
