import { spawnSync } from 'node:child_process';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { requests, type RequestName } from '../../app/contract/contract.ts';
import { Chance } from './draw.ts';
import { drawHouse, drawRequest } from './house-draw.ts';
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

  it('STORM-60 to STORM-69 no judge finds anything, whatever happens', async () => {
    const found = await storm(1, 60, {}, stormOfTheHouse);
    for (const { drawn, violations } of found.failures) {
      throw new Error(story(await shortest(drawn, violations[0]?.judge ?? '', 30, stormOfTheHouse), violations, stormOfTheHouse));
    }
    expect(found.deaths).toBeGreaterThan(20);
    process.stdout.write(`${figures(found)}\n`);
  }, 600_000);
});
