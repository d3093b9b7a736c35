/** An instrument's digital calibration certificate into an equipment record (TAB-28, TAB-29). */
import { readFileSync, writeFileSync } from 'node:fs';
import { resolve } from 'node:path';
import { InvalidArgumentError, Option, type Command } from 'commander';
import { instrumentNames, withCertificate, type InstrumentName } from '../../app/equipment/certificate.ts';
import { readDcc } from '../handover/read-dcc.ts';
import { equipmentFile } from './documents.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, withJsonOption } from './json.ts';
import { jsonText, say, sayJson, tell } from './say.ts';
import { Stop } from './stop.ts';

function day(text: string): string {
  const at = Date.parse(`${text}T00:00:00Z`);
  if (!/^\d{4}-\d{2}-\d{2}$/u.test(text) || Number.isNaN(at) || new Date(at).toISOString().slice(0, 10) !== text) throw new InvalidArgumentError('Write a day like 2027-03-31.');
  return text;
}

/** How a person says here what a certificate leaves open. */
const asked = { end: 'Give --valid-until DATE. ', replacement: 'Add --replaces. ' } as const;

interface CertificateOptions {
  readonly of: InstrumentName;
  readonly equipment: string;
  readonly validUntil?: string;
  readonly replaces?: true;
  readonly to?: string;
  readonly json?: true;
}

function readCertificate(file: string, { of, equipment: record, validUntil, replaces, to, json }: CertificateOptions): void {
  const equipment = equipmentFile(record);
  let xml: string;
  try {
    xml = readFileSync(file === '-' ? 0 : resolve(file), 'utf8').replace(/^\uFEFF/u, '');
  } catch (error) {
    throw new Stop(exitCode.badInput, `The certificate ${file} cannot be read (${(error as Error).message}). Check the path.`);
  }
  const read = readDcc(xml);
  if (!read.ok) throw new Stop(exitCode.badInput, `${file}: ${read.text} Nothing was written.`);
  const done = withCertificate(equipment, read.certificate, { instrument: of, replaces: replaces === true, ...(validUntil === undefined ? {} : { validUntil }) });
  if (!done.ok) throw new Stop(exitCode.badInput, `${done.text} ${done.wants === undefined ? '' : asked[done.wants]}Nothing was written.`);
  const { certificate } = done.equipment[of];
  tell(...done.said);
  if (to !== undefined) {
    try {
      writeFileSync(resolve(to), `${jsonText(done.equipment, 2)}\n`);
    } catch (error) {
      throw new Stop(exitCode.badInput, `The equipment record ${to} cannot be written (${(error as Error).message}). Choose another place.`);
    }
  }
  if (json === true) printJson('read-certificate', { instrument: of, serialNumber: done.equipment[of].serialNumber, certificate: certificate.number, date: certificate.date, validUntil: certificate.validUntil, said: [...done.said], to: to === undefined ? null : resolve(to), equipment: { ...done.equipment } });
  else if (to === undefined) sayJson(done.equipment, 2);
  else say(`${resolve(to)}: ${of} ${done.equipment[of].serialNumber} by certificate ${certificate.number} of ${certificate.date}, until ${certificate.validUntil}.`);
}

export function addCertificateCommands(program: Command): void {
  withJsonOption(program.command('read-certificate'))
    .description('read the digital calibration certificate (DCC 3.2) of an instrument into an equipment record: K curve or uncertainty, number, date and end')
    .argument('<file>', 'the certificate, XML; - is standard input')
    .addOption(new Option('--of <instrument>', 'which instrument of the record it is of').choices(instrumentNames).makeOptionMandatory())
    .addOption(new Option('--equipment <file>', 'the equipment record that it goes into').makeOptionMandatory())
    .addOption(new Option('--valid-until <date>', 'where the certificate names no end: by your own interval').argParser(day))
    .addOption(new Option('--replaces', 'the instrument was replaced: its serial number is that of the certificate'))
    .addOption(new Option('--to <file>', 'write the record to this file; without it, it is printed'))
    .action(readCertificate);
}
