import { Option, type Command } from 'commander';
import type { BenchReply } from '../../app/bench/port.ts';
import { madeSafeText } from '../../app/run/safe-words.ts';
import { runConformance, type ConformanceResult } from '../../firmware-protocol/conformance/suite.ts';
import { openControllerPort } from '../bench/conformance.ts';
import { servePtyBench } from '../bench/pty-bench.ts';
import { WallClock } from '../clock/clock.ts';
import { machineClock } from '../clock/machine.ts';
import { ending } from '../ending/ending.ts';
import { serialPorts } from '../link/serial-ports.ts';
import { samplePath } from '../samples/samples.ts';
import { scenarioFile } from './documents.ts';
import { withEndByInput } from './end-with-input.ts';
import { exitCode } from './exit-codes.ts';
import { commandBench, recorderTo, withBenchOptions, type BenchOptions } from './places.ts';
import { commandLine } from './command-line.ts';
import { printJson, withJsonOption } from './json.ts';
import { say, tell } from './say.ts';
import { Stop } from './stop.ts';
import { decimal } from './values.ts';

async function checkController(options: BenchOptions & { energise?: boolean; json?: true }): Promise<void> {
  const place = commandBench(options);
  try {
    const [channel] = await place.channels('connect');
    if (channel === undefined) throw new Stop(exitCode.bench, 'There is no channel to a controller.');
    const cut = new AbortController();
    const opened = await openControllerPort(channel, place.clock, cut.signal);
    if (!opened.ok) throw new Stop(exitCode.bench, opened.text);
    // A simulated bench has nothing that could be hurt.
    const energise = options.energise === true || options.port === undefined;
    if (!energise) tell('Checks that drive an injector channel are left out; --energise includes them (fluid drained, driver supply off).');
    const checking = runConformance(opened.port, {
      energise,
      signal: cut.signal,
      onResult: ({ rule, title, result, detail }) => {
        const mark = { pass: 'pass', fail: 'FAIL', 'not-applicable': 'n/a ' }[result];
        if (options.json === true) printJson('check-controller', { kind: 'check', rule, title, result, detail });
        else say(`${mark}  ${rule.padEnd(8)} ${title}${result === 'pass' ? '' : `: ${detail}`}`);
      },
    });
    const letGo = ending.hold({
      onAsked: ({ why }) => {
        if (!cut.signal.aborted) tell(`${why} Stopping: the bench is being made safe ...`);
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
    const notApplicable = results.length - passed - failed;
    if (options.json === true) printJson('check-controller', { kind: 'sum', passed, failed, notApplicable });
    else say(`${passed} rules kept, ${failed} broken, ${notApplicable} not applicable`);
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

async function serveBench(options: { scenario: string; speed: string; record?: string; json?: true }): Promise<void> {
  if (process.platform === 'win32') throw new Stop(exitCode.badInput, 'Windows has no pseudo-terminals that another program could open: use the simulated bench inside the program (without --port), or two linked virtual ports and a bench of your own.');
  const speed = decimal(options.speed);
  if (!(speed > 0 && speed <= 100)) throw new Stop(exitCode.badInput, '--speed is a number above 0 up to 100.');
  const clock = new WallClock(speed);
  const recorder = recorderTo({ record: options.record }, clock);
  const takeBack = ending.last(() => recorder?.close());
  const bench = await servePtyBench(scenarioFile(options.scenario), clock, recorder === null ? undefined : (from, bytes) => recorder.bytes(from, bytes));
  if (options.json === true) printJson('serve-bench', { path: bench.path, speed });
  else say(bench.path);
  tell(
    `The simulated bench is at ${bench.path}; open it like a serial port, for example:`,
    `  ${commandLine('sweep', samplePath('small-plan'), ['--port', bench.path], ['--equipment', samplePath('equipment')], ['--operator', 'NAME'], ['--speed', speed === 1 ? undefined : speed])}`,
    'Ctrl-C switches it off.',
  );
  await new Promise<void>((resolve) => {
    ending.hold({ onAsked: () => resolve(), makeSafe: () => Promise.resolve({ kind: 'done' }) });
  });
  bench.close();
  takeBack();
  recorder?.close();
}

export function addBenchCommands(program: Command): void {
  withBenchOptions(
    withEndByInput(withJsonOption(program.command('check-controller')))
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
        else say(`${path}${manufacturer === null ? '' : `  ${manufacturer}`}`);
      }
      if (ports.length === 0) tell('This machine tells of no serial port. A served bench or an unlisted port can be named all the same (--port).');
    });

  withEndByInput(withJsonOption(program.command('serve-bench')))
    .description('the simulated bench behind a pseudo-terminal, for another program to open like a serial port (Linux and macOS)')
    .addOption(new Option('--scenario <file>', 'which simulated bench, and what goes wrong on it').default(samplePath('scenario'), 'the sample bench'))
    .addOption(new Option('--speed <factor>', 'its time against real time; the host must be given the same').default('1'))
    .addOption(new Option('--record <file>', 'write a transcript of what the bench is told and says'))
    .action(serveBench);

}
