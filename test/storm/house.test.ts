import { spawnSync } from 'node:child_process';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { requests, type RequestName } from '../../app/contract/contract.ts';
import { Chance } from './draw.ts';
import { drawHouse, drawRequest, placeholders, withHouseHappenings, type HouseHappening } from './house-draw.ts';
import { stormOfTheHouse } from './house.ts';
import { figures, judged, shortest, storm, story } from './storm.ts';

describe('the storm of the whole house', () => {
  it('STORM-1 the same seed gives the same journals, in this process and in another', async () => {
    const seeds = [2, 3, 4];
    const hashes: (string | undefined)[] = [];
    for (const seed of seeds) hashes.push((await judged(drawHouse(seed), stormOfTheHouse)).evidence?.hash);
    const script = `const { judged } = await import('./storm.ts'); const { stormOfTheHouse } = await import('./house.ts');
      for (const seed of [${seeds.join(', ')}]) console.log((await judged(stormOfTheHouse.draw(seed), stormOfTheHouse)).evidence?.hash);`;
    const other = spawnSync(process.execPath, ['--input-type=module', '-e', script.replaceAll("'./", `'${join(import.meta.dirname, '/')}`)], { encoding: 'utf8' });
    expect(other.stderr).toBe('');
    expect(other.stdout.trim().split('\n')).toEqual(hashes);
    expect(new Set(hashes).size).toBe(seeds.length);
  }, 600_000);

  it.each(Object.keys(requests) as RequestName[])('STORM-60 the request %s can be drawn from the contract', (name) => {
    const chance = new Chance(1, name);
    for (let i = 0; i < 50; i += 1) {
      const params = drawRequest(name, chance);
      expect(requests[name].params.safeParse(params).success, JSON.stringify(params)).toBe(true);
    }
  });

  it('STORM-76 work by hand begins and ends in every way, with machine, bench and line let alone and without', () => {
    const seen = new Set<string>();
    for (let seed = 1; seed <= 1200; seed += 1) {
      const { windows, happenings, fair } = drawHouse(seed);
      for (const one of windows) {
        if (one.kind !== 'hand-work') continue;
        seen.add(`${one.first}, ${one.ends}${fair ? ', fair' : ''}`);
        if (one.upon !== undefined) seen.add(`upon ${'event' in one.upon ? one.upon.event : 'a word'}`);
        if (happenings.some((other) => other.kind === 'disk-error' && typeof other.commit !== 'number' && other.commit.fromS < one.atS)) seen.add('after the disk failed');
      }
    }
    for (const first of ['pauses', 'closes', 'nothing']) {
      for (const ends of ['left', 'made-safe', 'stopped', 'disconnected', 'replaced', 'window-gone', 'window-silent', 'program-ended']) {
        expect(seen).toContain(`${first}, ${ends}`);
        expect(seen).toContain(`${first}, ${ends}, fair`);
      }
    }
    for (const what of ['upon held', 'upon a word', 'after the disk failed']) expect(seen).toContain(what);
  });

  const byHand = { kind: 'hand-work', window: 1, volts: 10, channel: 1, widthMs: 2, count: 20, forS: 0.5, ends: 'left' } as const;
  const beside: readonly (readonly [string, readonly HouseHappening[]])[] = [
    ['held', [
      // While a point is measured: elsewhere the pressure is waited for.
      { kind: 'bench', upon: { word: 'burst', nth: 4 }, fault: { begins: { atS: 0.3 }, forS: 20, fault: { kind: 'pressure-loss', toKpa: 200 } } },
      { ...byHand, atS: 2, upon: { event: 'held', nth: 1 }, first: 'nothing' },
    ]],
    ['its archive failed', [
      { ...byHand, atS: 15, first: 'pauses' },
      { kind: 'disk-error', commit: { fromS: 22 }, code: 'SQLITE_FULL', where: 'end', forGood: true },
      { kind: 'asked', window: 1, atS: 22.1, name: 'run.command', params: { id: placeholders.run, command: { kind: 'skip-wait' }, by: 'somebody', commandId: 'full' } },
      { ...byHand, atS: 23, first: 'nothing' },
    ]],
  ];
  it.each(beside)('STORM-77 work by hand that is taken beside a run is found: %s', async (against, list) => {
    const drawn = drawHouse(1, 'storm');
    const { evidence, violations } = await judged(withHouseHappenings({ ...drawn, scenario: { ...drawn.scenario, pressureCommandable: true } }, list), stormOfTheHouse);
    expect(violations).toEqual([]);
    if (evidence === null) throw new Error('it threw');
    const refused = evidence.windows.find((one) => one.kind === 'requested' && one.name === 'manual.supply' && one.against?.includes(against) === true);
    if (refused?.kind !== 'requested') throw new Error('nobody tried it');
    const taken = evidence.windows.map((one) =>
      one.kind === 'answered' && one.socket === refused.socket && one.id === refused.id ? { ...one, message: { id: one.id, result: { accepted: true, reason: '' } } } : one,
    );
    const judge = stormOfTheHouse.judges.find(({ rule }) => rule === 'STORM-77');
    expect(await judge?.violations({ ...evidence, windows: taken })).toEqual([expect.stringMatching(`"manual.supply" was taken beside the open run, and .*${against}`)]);
  }, 120_000);

  it('STORM-60 to STORM-69, STORM-77 no judge finds anything, whatever happens', async () => {
    const found = await storm(1, 60, {}, stormOfTheHouse);
    for (const { drawn, violations } of found.failures) {
      throw new Error(story(await shortest(drawn, violations[0]?.judge ?? '', 30, stormOfTheHouse), violations, stormOfTheHouse));
    }
    expect(found.deaths).toBeGreaterThan(20);
    process.stdout.write(`${figures(found)}\n`);
  }, 600_000);
});
