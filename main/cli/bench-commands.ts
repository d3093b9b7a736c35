import { Option, type Command } from 'commander';
import type { BenchReply } from '../../app/bench/port.ts';
import { shown } from '../../app/boundary/text.ts';
import { madeSafeText } from '../../app/run/safe-words.ts';
import { runConformance, type ConformanceResult } from '../../firmware-protocol/conformance/suite.ts';
import { decodeFromController, decodeFromHost } from '../../firmware-protocol/line/messages.ts';
import { openControllerPort } from '../bench/conformance.ts';
import { servePtyBench } from '../bench/pty-bench.ts';
import { VirtualClock, WallClock } from '../clock/clock.ts';
import { isoTime } from '../clock/dating.ts';
import { machineClock, machineEntropy } from '../clock/machine.ts';
import { ending } from '../ending/ending.ts';
import { ReplayChannel } from '../link/replay-channel.ts';
import { serialPorts } from '../link/serial-ports.ts';
import { readTranscript, type Transcript } from '../link/transcript.ts';
import { samplePath } from '../samples/samples.ts';
import { RunService } from '../service/run-service.ts';
import { software } from '../service/software.ts';
import { equipmentFile, planFile, scenarioFile } from './documents.ts';
import { drive } from './drive.ts';
import { withEndByInput } from './end-with-input.ts';
import { exitCode } from './exit-codes.ts';
import { archivePlace, commandBench, recorderTo, withBenchOptions, type BenchOptions } from './places.ts';
import { commandLine } from './command-line.ts';
import { printJson, withJsonOption } from './json.ts';
import { Stop } from './stop.ts';
import { decimal } from './values.ts';

async function checkController(options: BenchOptions & { energise?: boolean }): Promise<void> {
  const place = commandBench(options);
  try {
    const [channel] = await place.channels('connect');
    if (channel === undefined) throw new Stop(exitCode.bench, 'There is no channel to a controller.');
    const cut = new AbortController();
    const opened = await openControllerPort(channel, place.clock, cut.signal);
    if (!opened.ok) throw new Stop(exitCode.bench, opened.text);
    // A simulated bench has nothing that could be hurt.
    const energise = options.energise === true || options.port === undefined;
    if (!energise) process.stderr.write('Checks that drive an injector channel are left out; --energise includes them (fluid drained, driver supply off).\n');
    const checking = runConformance(opened.port, {
      energise,
      signal: cut.signal,
      onResult: ({ rule, title, result, detail }) => {
        const mark = { pass: 'pass', fail: 'FAIL', 'not-applicable': 'n/a ' }[result];
        process.stdout.write(`${mark}  ${rule.padEnd(8)} ${title}${result === 'pass' ? '' : `: ${detail}`}\n`);
      },
    });
    const letGo = ending.hold({
      onAsked: ({ why }) => {
        if (!cut.signal.aborted) process.stderr.write(`${why} Stopping: the bench is being made safe ...\n`);
        cut.abort(new Error(why));
      },
      // The checks end with it.
      makeSafe: async () => {
        cut.abort(new Error('The program is broken.'));
        return leftSafe(await checking);
      },
    });
    const results = await checking.finally(letGo);
    const lost = opened.closed();
    await channel.close();
    if (lost !== null) throw new Stop(exitCode.bench, `${lost} The checks after that saw only silence.`);
    if (cut.signal.aborted) {
      const safe = leftSafe(results);
      throw new Stop(safe.kind === 'done' ? exitCode.unfinished : exitCode.bench, `The checks were stopped after ${results.length - 1}; their result is open. ${madeSafeText(safe, null)}`);
    }
    const failed = results.filter((r) => r.result === 'fail').length;
    const passed = results.filter((r) => r.result === 'pass').length;
    process.stdout.write(`${passed} rules kept, ${failed} broken, ${results.length - passed - failed} not applicable\n`);
    if (failed > 0) process.exitCode = exitCode.checkFailed;
  } finally {
    place.close();
  }
}

/** The last result of the checks says whether the bench was seen safe. */
function leftSafe(results: readonly ConformanceResult[]): BenchReply {
  const last = results.at(-1);
  return last?.result === 'pass' ? { kind: 'done' } : { kind: 'no-answer', text: last?.detail ?? 'It was not asked.' };
}

async function serveBench(options: { scenario: string; speed: string; record?: string }): Promise<void> {
  if (process.platform === 'win32') throw new Stop(exitCode.badInput, 'Windows has no pseudo-terminals that another program could open: use the simulated bench inside the program (without --port), or two linked virtual ports and a bench of your own.');
  const speed = decimal(options.speed);
  if (!(speed > 0 && speed <= 100)) throw new Stop(exitCode.badInput, '--speed is a number above 0 up to 100.');
  const clock = new WallClock(speed);
  const recorder = recorderTo({ record: options.record }, clock);
  const takeBack = ending.last(() => recorder?.close());
  const bench = await servePtyBench(scenarioFile(options.scenario), clock, recorder === null ? undefined : (from, bytes) => recorder.bytes(from, bytes));
  process.stdout.write(`${bench.path}\n`);
  process.stderr.write(
    `The simulated bench is at ${bench.path}; open it like a serial port, for example:\n` +
      `  ${commandLine('sweep', samplePath('small-plan'), ['--port', bench.path], ['--equipment', samplePath('equipment')], ['--operator', 'NAME'], ['--speed', speed === 1 ? undefined : speed])}\nCtrl-C switches it off.\n`,
  );
  await new Promise<void>((resolve) => {
    ending.hold({ onAsked: () => resolve(), makeSafe: () => Promise.resolve({ kind: 'done' }) });
  });
  bench.close();
  takeBack();
  recorder?.close();
}

/** A recorded conversation in figures and, line by line, what was asked and answered. */
function digest({ header, entries, torn }: Transcript): void {
  const held = { host: '', controller: '' };
  const counts = { telemetry: 0, request: 0, reply: 0, refusal: 0, unreadable: 0 };
  let last = 0;
  const say = (ms: number, text: string): void => void process.stdout.write(`${(ms / 1000).toFixed(3).padStart(12)} s  ${shown(text)}\n`);
  process.stdout.write(`Recorded ${isoTime(header.startedUnixMs)} over ${shown(header.channel)}\n`);
  for (const entry of entries) {
    last = entry.ms;
    if (entry.from === 'channel') {
      say(entry.ms, `channel ${entry.event}: ${entry.text}`);
      continue;
    }
    const lines = (held[entry.from] + entry.text).split('\n');
    held[entry.from] = lines.pop() ?? '';
    for (const line of lines) {
      const said = entry.from === 'host' ? decodeFromHost(line) : decodeFromController(line);
      if (said.kind === 'bad' || said.kind === 'unfit') {
        counts.unreadable += 1;
        say(entry.ms, `${entry.from}: line that says nothing: ${line}`);
        continue;
      }
      counts[said.kind] += 1;
      const isHeartbeat = (said.kind === 'request' && said.request.word === 'alive') || (said.kind === 'reply' && said.reply.word === 'alive');
      if (said.kind !== 'telemetry' && !isHeartbeat) say(entry.ms, `${entry.from}: ${line}`);
    }
  }
  if (torn) process.stdout.write('The last line of the transcript is torn: the recording host died while it wrote.\n');
  process.stdout.write(
    `${(last / 1000).toFixed(1)} s, ${counts.request} requests, ${counts.reply} replies, ${counts.refusal} refusals, ${counts.telemetry} telemetry frames, ${counts.unreadable} unreadable lines\n`,
  );
}

/** Runs a plan against the recorded controller, as the recording host did, and says where the two part. */
async function runAgainst(transcript: Transcript, options: { plan: string; equipment: string; archive: string }): Promise<void> {
  const plan = planFile(options.plan);
  const equipment = equipmentFile(options.equipment);
  const clock = new VirtualClock(transcript.header.startedUnixMs);
  const archive = archivePlace(options.archive, 'write', clock);
  const channel = new ReplayChannel(transcript, clock);
  try {
    const opened = await RunService.open(
      { archive, clock, simulated: true, channels: () => Promise.resolve([channel]), entropy: machineEntropy, freeDiskBytes: () => null },
      { kind: 'new', plan, equipment, operator: 'replay', software },
    );
    if (!opened.ok) throw new Stop(exitCode.bench, opened.text);
    process.exitCode = await drive(opened.service, () => [{ kind: 'start' }], 'replay', {
      quiet: false,
      json: false,
      clock, waitForBench: 30, everyPoint: false, continueWith: 'a replay is not continued; record a new run', remainingWith: 'a replay is not continued; record a new run',
    });
    await opened.service.close();
    const { departures } = channel;
    for (const { ms, text } of departures) process.stdout.write(`${(ms / 1000).toFixed(3).padStart(12)} s  ${text}\n`);
    process.stdout.write(`${departures.length} departures from the recording\n`);
    if (departures.length > 0) process.exitCode = exitCode.checkFailed;
  } finally {
    archive.close();
    clock.stop();
  }
}

export function addBenchCommands(program: Command): void {
  withBenchOptions(
    withEndByInput(program.command('check-controller'))
      .description('hold a controller against every rule of the line specification that can be seen from outside'),
  )
    .option('--energise', 'include the checks that drive an injector channel with pulses of the least width')
    .action(checkController);

  withJsonOption(program.command('ports'))
    .description('list the serial ports that this machine tells of; none is opened')
    .action(async (options: { json?: true }) => {
      const ports = await serialPorts(machineClock);
      for (const { path, manufacturer = null, vendorId = null, productId = null } of ports) {
        if (options.json === true) printJson('ports', { path, manufacturer, vendorId, productId });
        else process.stdout.write(`${shown(path)}${manufacturer === null ? '' : `  ${shown(manufacturer)}`}\n`);
      }
      if (ports.length === 0) process.stderr.write('This machine tells of no serial port. A served bench or an unlisted port can be named all the same (--port).\n');
    });

  withEndByInput(program.command('serve-bench'))
    .description('the simulated bench behind a pseudo-terminal, for another program to open like a serial port (Linux and macOS)')
    .addOption(new Option('--scenario <file>', 'which simulated bench, and what goes wrong on it').default(samplePath('scenario'), 'the sample bench'))
    .addOption(new Option('--speed <factor>', 'its time against real time; the host must be given the same').default('1'))
    .addOption(new Option('--record <file>', 'write a transcript of what the bench is told and says'))
    .action(serveBench);

  program
    .command('replay')
    .description('read a recorded conversation back; with --plan, run that plan again against the recorded controller')
    .argument('<transcript>', 'file that --record wrote')
    .addOption(new Option('--plan <file>', 'the plan that was run when the transcript was recorded'))
    .addOption(new Option('--equipment <file>', 'the equipment record of that run').default(samplePath('equipment'), 'that of the simulated bench'))
    .addOption(new Option('--archive <file>', 'new archive for the replayed run').default('data/replay.sqlite'))
    .action(async (path: string, options: { plan?: string; equipment: string; archive: string }) => {
      const read = await readTranscript(path);
      if (!read.ok) throw new Stop(exitCode.badInput, read.text);
      if (options.plan === undefined) digest(read.transcript);
      else await runAgainst(read.transcript, { ...options, plan: options.plan });
    });
}
