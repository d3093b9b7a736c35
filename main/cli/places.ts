/** The options that several commands share, and what they open: the archive, and the bench with its clock. */
import { existsSync, statfsSync, statSync } from 'node:fs';
import { dirname, join, relative, resolve } from 'node:path';
import { Option, type Command } from 'commander';
import { openArchive, type Archive } from '../archive/archive.ts';
import { makeFolder } from '../archive/make-folder.ts';
import { RunningBench } from '../bench/running-bench.ts';
import { VirtualClock, WallClock, type Clock } from '../clock/clock.ts';
import { shareNote } from '../archive/network-share.ts';
import { headsFileAt, type HeadPlaces, type HeadsFile } from '../archive/heads-file.ts';
import { machineClock, machineEntropy } from '../clock/machine.ts';
import type { Channel, ChannelSource } from '../link/channel.ts';
import { ending } from '../ending/ending.ts';
import { SimulatedChannel } from '../bench/simulated-channel.ts';
import { serialPortSource } from '../link/serial-ports.ts';
import { recordedChannel, TranscriptRecorder } from '../link/transcript.ts';
import { samplePath } from '../samples/samples.ts';
import { houseFolder } from './build.ts';
import { scenarioFile } from './documents.ts';
import { exitCode } from './exit-codes.ts';
import { tell } from './say.ts';
import { Stop } from './stop.ts';
import { variables } from './surroundings.ts';
import { decimal } from './values.ts';

/** Called by npm it is that of the house, wherever the person stands: named paths alone are of that folder. */
const defaultArchive = process.env['npm_lifecycle_event'] === undefined ? 'data/railhouse.sqlite' : relative('.', join(houseFolder, 'data/railhouse.sqlite'));

/** Without it the simulated bench in this process has its own; a bench on a port must be given one. */
export const equipmentOption = (): Option => new Option('--equipment <file>', 'the equipment record of the bench; needed with --port (default: that of the simulated bench)').env(variables.equipment);

export const archiveOption = (): Option => new Option('--archive <file>', 'the archive').default(defaultArchive).env(variables.archive);

export interface HeadOptions {
  readonly heads?: string;
  readonly headsKey?: string;
}

/** Adds the options that say where heads of the archive are kept beside it (ARC-14). */
export function withHeadOptions(command: Command): Command {
  return command
    .addOption(new Option('--heads <file>', 'keep the head of the archive in this file too, after each rest and at the end; best on another disk or machine. It is only added to'))
    .addOption(new Option('--heads-key <file>', 'sign each of these heads with this Ed25519 key (make-head-key makes one); keep it away from the archive'));
}

/** The file that heads are kept in; null: none was asked for. Says the public key, once. */
function headsFile({ heads, headsKey }: HeadOptions, archive: string, clock: Clock, onProblem: (text: string) => void): HeadsFile | null {
  const places: HeadPlaces = { heads: heads === undefined ? undefined : resolve(heads), headsKey: headsKey === undefined ? undefined : resolve(headsKey) };
  const made = headsFileAt(places, archive, { now: () => clock.unixNow(), onProblem });
  if (!made.ok) throw new Stop(exitCode.badInput, made.text);
  if (made.publicKey !== null) tell(`Heads are signed; the public key is ${made.publicKey}`);
  return made.file;
}

export interface BenchOptions {
  readonly port?: string;
  readonly scenario?: string;
  readonly speed?: number | 'virtual';
  readonly record?: string | undefined;
}

function speed(text: string): number | 'virtual' {
  if (text === 'virtual') return 'virtual';
  const value = decimal(text);
  if (!(value > 0 && value <= 100)) throw new Stop(exitCode.badInput, '--speed is "virtual" or a number above 0 up to 100.');
  return value;
}

/**
 * Adds the options that say which bench, and how fast its time goes. `portByVariable` false: a bench on a port is meant only by whoever
 * says so on the line.
 */
export function withBenchOptions(command: Command, { portByVariable = true } = {}): Command {
  const port = new Option('--port <path>', 'serial port of the controller; without it the simulated bench in this process');
  return command
    .addOption(portByVariable ? port.env(variables.port) : port)
    .addOption(new Option('--scenario <file>', 'which simulated bench, and what goes wrong on it').conflicts('port'))
    .addOption(
      new Option('--speed <factor>', 'time of the bench against real time: "virtual" is as fast as it can (the default for the simulated bench), 1 is real time; with --port only for a simulated bench served at the same speed').argParser(speed),
    )
    .addOption(new Option('--record <file>', 'write a transcript of the conversation with the controller'));
}

export interface CommandBench {
  /** A simulated bench in this process. */
  readonly simulated: boolean;
  readonly clock: Clock;
  readonly channels: ChannelSource;
  /** Ends clock and simulated bench. */
  close(): void;
}

/**
 * One clock for both ends of the line. That of a simulated bench with a pace of its own stands still while this process is late (CLI-76): on a wall
 * clock that goes 100 times faster, telemetry would seem to be away after a hundredth of a second. In real time, and on a port, time is the machine's.
 */
function benchClock(pace: number | 'virtual', onPort: boolean): Clock {
  if (pace === 'virtual') return new VirtualClock(machineClock.unixNow());
  return onPort || pace === 1 ? new WallClock(pace) : new VirtualClock(machineClock.unixNow(), pace);
}

export function commandBench(options: BenchOptions): CommandBench {
  const pace = options.speed ?? (options.port === undefined ? 'virtual' : 1);
  if (options.port !== undefined && pace === 'virtual') {
    throw new Stop(exitCode.badInput, 'A serial port has real time behind it; --speed virtual is for the simulated bench in this process.');
  }
  const clock = benchClock(pace, options.port !== undefined);
  // Before there is anything that keeps the process alive.
  const recorder = recorderTo(options, clock);
  let channels: ChannelSource;
  let switchOff = (): void => undefined;
  if (options.port !== undefined) {
    channels = serialPortSource(options.port, clock);
  } else {
    const bench = new RunningBench(scenarioFile(options.scenario ?? samplePath('scenario')), clock);
    channels = () => Promise.resolve([new SimulatedChannel(bench)]);
    switchOff = () => bench.switchOff();
  }
  if (recorder !== null) {
    const plain = channels;
    channels = async (purpose) => (await plain(purpose)).map((channel): Channel => recordedChannel(channel, recorder));
  }
  const takeBack = ending.last(() => recorder?.close());
  return {
    simulated: options.port === undefined,
    clock,
    channels,
    close() {
      takeBack();
      recorder?.close();
      if (recorder !== null && recorder.failure !== null) tell(recorder.failure);
      switchOff();
      if (clock instanceof VirtualClock) clock.stop();
    },
  };
}

/** null: nothing is to be recorded. Stops the command where the file cannot be made. */
export function recorderTo({ record, port }: Pick<BenchOptions, 'record' | 'port'>, clock: Clock): TranscriptRecorder | null {
  if (record === undefined) return null;
  const path = resolve(record);
  try {
    return new TranscriptRecorder(path, port ?? 'simulated bench', clock);
  } catch (error) {
    throw new Stop(exitCode.badInput, `The transcript ${path} cannot be made (${(error as Error).message}). Choose another file.`);
  }
}

/** Opens an archive, making its folder for a new one. */
export function archivePlace(path: string, mode: 'read' | 'write', clock: Clock = machineClock, kept: HeadOptions = {}, onProblem: (text: string) => void = tell): Archive {
  const file = resolve(path);
  if (statSync(file, { throwIfNoEntry: false })?.isDirectory() === true) throw new Stop(exitCode.badInput, `${file} is a folder, and an archive is a file. Name the file in it.`);
  if (mode === 'write' && !existsSync(file)) {
    try {
      makeFolder(dirname(file));
    } catch (error) {
      throw new Stop(exitCode.archive, `The folder of the archive ${file} cannot be made (${(error as Error).message}). Choose another place with --archive.`);
    }
  }
  const heads = headsFile(kept, file, clock, onProblem);
  const opened = openArchive(file, mode === 'read' ? { readOnly: true } : { now: () => clock.unixNow(), entropy: machineEntropy, ...(heads === null ? {} : { heads }) });
  if (!opened.ok) throw new Stop(exitCode.archive, opened.text);
  for (const note of [opened.archive.note, mode === 'write' ? shareNote(opened.archive.path) : null]) if (note !== null) tell(note);
  return opened.archive;
}

export function freeDiskBytes(archivePath: string): number | null {
  try {
    const { bavail, bsize } = statfsSync(dirname(resolve(archivePath)));
    return bavail * bsize;
  } catch {
    return null;
  }
}
