/**
 * Errors of one run held against those of another: which of them are one and the same (RED-65). Whatever joins runs asks here, so that a
 * comparison and a matching never answer differently.
 */
import type { Equipment } from '../equipment/equipment.ts';
import type { Carried } from '../uncertainty/carried.ts';
import { ownerOf } from '../uncertainty/source.ts';
import type { ErrorOwner, ErrorSource } from '../uncertainty/source.ts';

/** A run as far as its errors are concerned. */
export interface RunOfErrors {
  /** No other run has it. */
  readonly id: string;
  readonly equipment: Equipment;
}

interface Lasting {
  /** For sentences. */
  readonly name: string;
  /** Equal in two runs: the error is the same one in both. */
  readonly identity: (equipment: Equipment) => readonly unknown[];
}

const instrument =
  (of: 'meter' | 'pressure' | 'temperature' | 'supply'): Lasting['identity'] =>
  (equipment) => [equipment[of].serialNumber, equipment[of].certificate.number];

/** A part of one bench; records of version 1 say nothing of it, so all that they say is taken for the same. */
const partOfBench =
  (part: 'wiring' | 'driver' | 'timeBase'): Lasting['identity'] =>
  (equipment) => (equipment.equipmentVersion === 1 ? [] : [equipment.controller, equipment[part]]);

/** What outlasts a run, with what makes it another: an instrument under another certificate has another error. */
const lasting: Readonly<Partial<Record<ErrorOwner, Lasting>>> = {
  meter: { name: 'meter', identity: instrument('meter') },
  'pressure transducer': { name: 'pressure transducer', identity: instrument('pressure') },
  thermometer: { name: 'thermometers', identity: instrument('temperature') },
  rail: { name: 'rail', identity: ({ rail, pressure }) => [rail ?? null, pressure.whileOpenKpa ?? null] },
  supply: { name: 'supply', identity: instrument('supply') },
  wiring: { name: 'wiring', identity: partOfBench('wiring') },
  drivers: { name: 'drivers', identity: partOfBench('driver') },
  'controller clock': { name: 'clock of the controller', identity: partOfBench('timeBase') },
  fluid: { name: 'fluid lot', identity: ({ fluid }) => [fluid.lot, fluid.measuredDensity ?? null] },
  'coil model': { name: 'coil model', identity: () => [] },
};

/** Same text in two runs: one error. What does not outlast a run is the run's own. */
const identityOf = (owner: ErrorOwner, { id, equipment }: RunOfErrors): string => {
  const known = lasting[owner];
  return known === undefined ? `run ${id}` : JSON.stringify(known.identity(equipment));
};

/** The same source with a key that holds over runs. */
export function sourceIn(run: RunOfErrors, source: ErrorSource): ErrorSource {
  return { ...source, key: `${source.key} | ${identityOf(ownerOf(source), run)}` };
}

/** What makes a source the same one in two documents, with the names by which people know it: serial number (or lot), and certificate. */
export function identityIn(run: RunOfErrors, source: ErrorSource): { readonly identity: string; readonly instrument: string | null; readonly certificate: string | null } {
  return { identity: sourceIn(run, source).key, ...namesOf(ownerOf(source), run.equipment) };
}

function namesOf(owner: ErrorOwner, equipment: Equipment): { readonly instrument: string | null; readonly certificate: string | null } {
  const named = ({ serialNumber, certificate }: Pick<Equipment['supply'], 'serialNumber' | 'certificate'>) => ({ instrument: serialNumber, certificate: certificate.number });
  switch (owner) {
    case 'meter':
      return named(equipment.meter);
    case 'pressure transducer':
      return named(equipment.pressure);
    case 'thermometer':
      return named(equipment.temperature);
    case 'supply':
      return named(equipment.supply);
    case 'fluid':
      return { instrument: `lot ${equipment.fluid.lot}`, certificate: null };
    case 'rail':
    case 'wiring':
    case 'drivers':
    case 'controller clock':
      return { instrument: equipment.equipmentVersion === 1 ? null : equipment.controller.serialNumber, certificate: null };
    default:
      return { instrument: null, certificate: null };
  }
}

/** The same value with errors that can be combined with those of other runs. */
export function carriedIn(run: RunOfErrors, { value, parts }: Carried): Carried {
  return {
    value,
    parts: new Map(
      [...parts.values()].map((part) => {
        const source = sourceIn(run, part.source);
        return [source.key, { ...part, source, scale: part.kind === 'shared' ? '' : `${part.scale} | ${run.id}` }];
      }),
    ),
  };
}

/** Names of what both runs were measured with, and of what was another in each. */
export function sharedBetween(a: RunOfErrors, b: RunOfErrors): { readonly same: readonly string[]; readonly other: readonly string[] } {
  const all = Object.entries(lasting).filter(([owner]) => owner !== 'coil model') as [ErrorOwner, Lasting][];
  const isSame = ([owner]: (typeof all)[number]): boolean => identityOf(owner, a) === identityOf(owner, b);
  const names = (list: typeof all): readonly string[] => list.map(([, { name }]) => name);
  return { same: names(all.filter(isSame)), other: names(all.filter((one) => !isSame(one))) };
}
