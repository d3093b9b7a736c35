/** A plugin of Stryker that lets only a sample of the mutants through to the tests. */
import { CheckStatus, type Checker, type CheckResult } from '@stryker-mutator/api/check';
import type { Mutant } from '@stryker-mutator/api/core';
import { declareFactoryPlugin, PluginKind } from '@stryker-mutator/api/plugin';
import { sampleOf, type Place } from './sampling.ts';

const placeOf = ({ fileName, mutatorName, replacement, location: { start, end } }: Mutant): Place => ({
  // The copy that is mutated lies in a folder of its own; lines count from 0 here and from 1 in the report.
  file: fileName.replace(/^.*\/(?=(?:app|main)\/)/u, ''), mutator: mutatorName, replacement,
  from: { line: start.line + 1, column: start.column + 1 }, to: { line: end.line + 1, column: end.column + 1 },
});

class SampleChecker implements Checker {
  #chosen: ReadonlySet<string> = new Set();

  init(): Promise<void> {
    return Promise.resolve();
  }

  /** Asked once, with all mutants that a test reaches. */
  group(mutants: Mutant[]): Promise<string[][]> {
    const { MUTATION_SAMPLE = '', MUTATION_SEED = '1' } = process.env;
    const size = MUTATION_SAMPLE === '' ? mutants.length : Number(MUTATION_SAMPLE);
    this.#chosen = new Set(sampleOf(mutants, placeOf, size, MUTATION_SEED).map(({ id }) => id));
    return Promise.resolve([mutants.map(({ id }) => id)]);
  }

  check(mutants: Mutant[]): Promise<Record<string, CheckResult>> {
    return Promise.resolve(
      Object.fromEntries(mutants.map(({ id }) => [id, this.#chosen.has(id) ? { status: CheckStatus.Passed } : { status: CheckStatus.CompileError, reason: 'not in the sample' }])),
    );
  }
}

export const strykerPlugins = [declareFactoryPlugin(PluginKind.Checker, 'sample', () => new SampleChecker())];
