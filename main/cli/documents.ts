/** Files that people hand to a command ("-": standard input): read, parsed, and every problem said with its place. */
import { readFileSync } from 'node:fs';
import type { Problem } from '../../app/boundary/problems.ts';
import { problemsOf } from '../../app/boundary/problems.ts';
import { parseEquipment } from '../../app/equipment/parse.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import { parseLayout } from '../../app/handover/layout.ts';
import type { ControllerLayout } from '../../app/handover/layout.ts';
import { parseParties } from '../../app/handover/parties.ts';
import type { Parties } from '../../app/handover/parties.ts';
import { parseMeterCheck, type MeterCheck } from '../../app/meter-check/meter-check.ts';
import { parsePlan } from '../../app/plan/parse.ts';
import type { Plan } from '../../app/plan/plan.ts';
import { parseQualification, type Qualification } from '../../app/qualification/qualification.ts';
import { reportDetailsSchema, type ReportDetails } from '../../app/report/details.ts';
import { scenarioSchema, type Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { parseTypeRecord, type TypeRecord } from '../../app/type-record/type-record.ts';
import { readStatedVisit, type StatedVisit } from '../../app/visit/visit.ts';
import { samplePath } from '../samples/samples.ts';
import { exitCode } from './exit-codes.ts';
import { Stop } from './stop.ts';

function readJson(path: string, what: string): unknown {
  let text: string;
  try {
    // Some editors begin a file with a mark that JSON does not know.
    text = readFileSync(path === '-' ? 0 : path, 'utf8').replace(/^\uFEFF/u, '');
  } catch (error) {
    throw new Stop(exitCode.badInput, `The ${what} ${path} cannot be read (${(error as Error).message}). Check the path.`);
  }
  try {
    return JSON.parse(text) as unknown;
  } catch (error) {
    throw new Stop(exitCode.badInput, `The ${what} ${path} is not JSON (${(error as Error).message}). Correct it and try again.`);
  }
}

function refuse(path: string, what: string, problems: readonly Problem[]): never {
  const lines = problems.map((p) => `  ${p.path === '' ? '(document)' : p.path}: ${p.text}`);
  throw new Stop(exitCode.badInput, `The ${what} ${path} cannot be used:`, ...lines);
}

export function planFile(path: string): Plan {
  const parsed = parsePlan(readJson(path, 'plan'));
  return parsed.ok ? parsed.plan : refuse(path, 'plan', parsed.problems);
}

export function equipmentFile(path: string): Equipment {
  const parsed = parseEquipment(readJson(path, 'equipment record'));
  return parsed.ok ? parsed.equipment : refuse(path, 'equipment record', parsed.problems);
}

export function layoutFile(path: string): ControllerLayout {
  const parsed = parseLayout(readJson(path, 'layout'));
  return parsed.ok ? parsed.layout : refuse(path, 'layout', parsed.problems);
}

export function partiesFile(path: string): Parties {
  const parsed = parseParties(readJson(path, 'file of the parties'));
  return parsed.ok ? parsed.parties : refuse(path, 'file of the parties', parsed.problems);
}

/**
 * The record that a command measures with: the named one, or that of the simulated bench in this process. A bench on a port
 * has instruments of its own, so there it has to be named (EQ-7).
 */
export function equipmentFor(options: { readonly equipment?: string; readonly port?: string }): Equipment {
  if (options.equipment !== undefined) return equipmentFile(options.equipment);
  if (options.port === undefined) return equipmentFile(samplePath('equipment'));
  throw new Stop(
    exitCode.badInput,
    `The bench on ${options.port} needs its equipment record: without the certificates of its own instruments nothing can be measured. Name it with --equipment FILE; ${samplePath('equipment')} shows how one is written.`,
  );
}

export function meterCheckFile(path: string): MeterCheck {
  const parsed = parseMeterCheck(readJson(path, 'meter check'));
  return parsed.ok ? parsed.check : refuse(path, 'meter check', parsed.problems);
}

export function qualificationFile(path: string): Qualification {
  const parsed = parseQualification(readJson(path, 'qualification'));
  return parsed.ok ? parsed.qualification : refuse(path, 'qualification', parsed.problems);
}

export function typeRecordFile(path: string): TypeRecord {
  const parsed = parseTypeRecord(readJson(path, 'type record'));
  return parsed.ok ? parsed.record : refuse(path, 'type record', parsed.problems);
}

/** `latest`: no record is of a later day. */
export function visitFile(path: string, about: { readonly photos: number; readonly latest: string }): StatedVisit {
  const read = readStatedVisit(readJson(path, 'record of a visit'), about);
  return read.ok ? read.stated : refuse(path, 'record of a visit', read.problems);
}

export function scenarioFile(path: string): Scenario {
  const input = readJson(path, 'scenario');
  const parsed = scenarioSchema.safeParse(input);
  return parsed.success ? parsed.data : refuse(path, 'scenario', problemsOf(parsed.error, input));
}

export function reportDetailsFile(path: string): ReportDetails {
  const input = readJson(path, 'report details');
  const parsed = reportDetailsSchema.safeParse(input);
  return parsed.success ? parsed.data : refuse(path, 'report details', problemsOf(parsed.error, input));
}
