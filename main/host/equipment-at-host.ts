/** The equipment record that holds for what is done next, and what is saved of it and of the checks of its meter. */
import { parseEquipment } from '../../app/equipment/parse.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import { belongsTo } from '../../app/equipment/standing.ts';
import type { Problem } from '../../app/boundary/problems.ts';
import type { AnswerTo, ParsedParams } from '../../app/contract/contract.ts';
import type { Archive } from '../archive/archive.ts';
import { today } from '../clock/dating.ts';
import type { Clock } from '../clock/clock.ts';
import sampleEquipment from '../samples/equipment.json' with { type: 'json' };
import type { BenchAtHost } from './bench-at-host.ts';
import type { Desk } from './desk.ts';
import { Failed, notSaved } from './outcome.ts';

interface EquipmentAtHostParts {
  readonly archive: Archive;
  readonly bench: BenchAtHost;
  readonly clock: Clock;
  readonly desk: Desk;
}

export const inWords = (problems: readonly Problem[]): string => problems.map((p) => (p.path === '' ? p.text : `${p.path}: ${p.text}`)).join(' ');

export class EquipmentAtHost {
  readonly #parts: EquipmentAtHostParts;

  constructor(parts: EquipmentAtHostParts) {
    this.#parts = parts;
  }

  /** The sheet of a run is held against the clock of the bench: so is everything before it. */
  today(): string {
    return today(this.#clock);
  }

  /** Unix ms, by the same clock. */
  now(): number {
    return this.#clock.unixNow();
  }

  get #clock(): Clock {
    return this.#parts.bench.connected?.place.clock ?? this.#parts.clock;
  }

  /**
   * The latest that was saved of the connected bench (HOST-90). The record of the simulated bench serves that bench, and plans that are made while nothing is
   * connected; it never stands in for the record of a bench on a port (EQ-7).
   */
  record(): Equipment | Failed {
    const at = this.#parts.bench.connected;
    const stored = this.#parts.archive.library.equipment(at?.bench.identity ?? null);
    const onPort = at !== null && !at.place.simulated;
    if (stored === null && onPort) {
      const { model, serialNumber } = at.bench.identity;
      return new Failed('refused', `This archive has no equipment record, and a run on ${model} ${serialNumber} needs the record of that bench: nothing can be measured without the certificates of its instruments. Nothing was driven. Write it on the page Equipment, or load its file on the page Bench.`);
    }
    const parsed = parseEquipment(stored ?? sampleEquipment);
    if (!parsed.ok) return new Failed('archive', `The equipment record in the archive cannot be used. ${inWords(parsed.problems)}`);
    const { equipment } = parsed;
    if (at === null || onPort || equipment.equipmentVersion === 1 || belongsTo(equipment, at.bench.identity)) return equipment;
    // The lab's own record names its own controller: the simulated bench has other instruments.
    const ofSimulated = parseEquipment(sampleEquipment);
    if (!ofSimulated.ok) throw new Error('the sample record does not parse');
    return ofSimulated.equipment;
  }

  save({ document, by, reason, basedOn }: ParsedParams<'equipment.save'>): AnswerTo<'equipment.save'> | Failed {
    const { library } = this.#parts.archive;
    const parsed = parseEquipment(document);
    if (!parsed.ok) return { problems: [...parsed.problems] };
    if (basedOn !== undefined && library.equipmentVersion() !== basedOn) {
      return new Failed('bad-request', `Version ${library.equipmentVersion()} of the record was saved meanwhile, and this change was made on version ${basedOn}. Nothing was saved. Look at what was changed, and make your change on it.`);
    }
    // Who said so last is not who says so now.
    const saved = library.saveEquipment({ ...(document as object), changed: by === undefined ? undefined : { by, reason: reason ?? '' } });
    return saved.ok ? { problems: [] } : notSaved(saved);
  }

  /** Worked out at the desk, kept here. */
  async addMeterCheck(document: unknown): Promise<AnswerTo<'meter-check.add'> | Failed> {
    const record = this.record();
    if (record instanceof Failed) return record;
    const judged = await this.#parts.desk.do({ kind: 'meter-check', document, equipment: record });
    if (!judged.ok) return new Failed(judged.code, judged.text);
    const { problems, check, document: kept } = judged.value;
    if (kept === null || check === null) return { problems, check: null };
    const { meterChecks } = this.#parts.archive;
    if (meterChecks.count() !== check.no - 1) return new Failed('bad-request', 'Another check was kept meanwhile. Nothing was kept. Try it again: it is then compared with that one.');
    const added = meterChecks.add(kept);
    if (!added.ok) return new Failed(added.code === 'refused' ? 'bad-request' : 'archive', added.text);
    return { problems: [], check };
  }
}
