import { spawnSync } from 'node:child_process';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { scenarioSchema } from '../../firmware-protocol/simulator/scenario.ts';
import { benchFaultKinds, Chance, draw, drawBenchFault, withHappenings } from './draw.ts';
import { cutPower, hasTracer, trace } from './power-cut.ts';
import { figures, judged, shortest, storm, story } from './storm.ts';

describe('the storm', () => {
  it('STORM-1 the same seed gives the same journal, in this process and in another', async () => {
    const hashes: (string | undefined)[] = [];
    for (const seed of [3, 4, 5]) hashes.push((await judged(draw(seed))).evidence?.hash);
    const script = `const { judged } = await import('./storm.ts'); const { draw } = await import('./draw.ts');
      for (const seed of [3, 4, 5]) console.log((await judged(draw(seed))).evidence?.hash);`;
    const other = spawnSync(process.execPath, ['--input-type=module', '-e', script.replaceAll("'./", `'${join(import.meta.dirname, '/')}`)], { encoding: 'utf8' });
    expect(other.stderr).toBe('');
    expect(other.stdout.trim().split('\n')).toEqual(hashes);
    expect(new Set(hashes).size).toBe(3);
  }, 600_000);

  it('STORM-2 every kind of fault of the scenario can be drawn', () => {
    const chance = new Chance(1, 'test');
    for (const kind of benchFaultKinds()) {
      for (let i = 0; i < 20; i += 1) {
        const fault = drawBenchFault(kind, chance);
        const parsed = scenarioSchema.safeParse({ scenarioVersion: 1, faults: [{ begins: { atS: 1 }, fault }] });
        expect(parsed.success, `${kind}: ${JSON.stringify(fault)}`).toBe(true);
      }
    }
  });

  // The cable is pulled within the writing of a line, so that its end is told while the host is still about to commit and tell.
  it.each(['arm', 'safe', 'burst'] as const)('RUN-1 a link that ends within the sending of "%s" is taken after what was being done', async (word) => {
    const { violations, evidence } = await judged(withHappenings(draw(3), [{ kind: 'cable-pulled', atS: 0, upon: { word, nth: 1 }, forS: 2, told: true }]));
    expect(violations).toEqual([]);
    expect(evidence?.state?.ending).toBe('complete');
  }, 120_000);

  // Every 23rd operation, whatever it is: all of them are for `npm run show -- power-cut`.
  it.skipIf(!hasTracer())('STORM-40 a power cut loses nothing that was announced', () => {
    const found = cutPower(trace(1), 1, 23);
    expect(found.problems).toEqual([]);
    expect(found.announced).toBeGreaterThan(10);
    expect(found.states).toBeGreaterThan(50);
  }, 600_000);

  it('STORM-10 to STORM-38 no judge finds anything, whatever happens', async () => {
    const found = await storm(1, 200);
    for (const { drawn, violations } of found.failures) {
      throw new Error(story(await shortest(drawn, violations[0]?.judge ?? '', 30), violations));
    }
    expect(found.deaths).toBeGreaterThan(200);
    process.stdout.write(`${figures(found)}\n`);
  }, 600_000);
});
