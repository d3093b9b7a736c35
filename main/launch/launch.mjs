/**
 * The door of the house, in plain JavaScript that any Node from 18 on can run: sees to Node 24 and the packages, then
 * opens the room that was asked for. Says what it does in one line each; says nothing when all is in place.
 *
 * The first run needs the package registry; every later one works without a network.
 */
import { spawn, spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { constants } from 'node:os';
import { delimiter, dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { nodeFor } from './nodes.mjs';

const root = join(dirname(fileURLToPath(import.meta.url)), '..', '..');
const rooms = {
  start: 'main/cli/main.ts',
  cli: 'main/cli/main.ts',
  test: 'test/run-tests.ts',
  bench: 'test/bench/run-benches.ts',
  show: 'test/house/show.ts',
};

function say(text) {
  process.stderr.write(`railhouse: ${text}\n`);
}

function fail(text) {
  say(text);
  process.exit(1);
}

/** npm from the shell's PATH, run by the Node that comes first on `path`. */
function npm(args, cwd, path) {
  const done = spawnSync('npm', args, {
    cwd,
    env: { ...process.env, PATH: path },
    stdio: ['ignore', 'ignore', 'inherit'],
    shell: process.platform === 'win32',
  });
  if (done.error) fail(`npm could not be run (${done.error.message}). Install npm and try again.`);
  return done.status === 0;
}

/** A lock file of one package: npm refuses whatever has another hash. */
function lockNode(home, { name, version, integrity, os, cpu }) {
  const dependencies = { [name]: version };
  const lock = {
    name: 'railhouse-node',
    lockfileVersion: 3,
    requires: true,
    packages: { '': { name: 'railhouse-node', dependencies }, [`node_modules/${name}`]: { version, integrity, os: [os], cpu: [cpu] } },
  };
  mkdirSync(home, { recursive: true });
  writeFileSync(join(home, 'package.json'), JSON.stringify({ name: 'railhouse-node', private: true, dependencies }));
  writeFileSync(join(home, 'package-lock.json'), JSON.stringify(lock));
}

/** A Node 24: this process's own, or one from the package registry. Its executable, and what it is started with. */
function node24() {
  const { versions, platform, arch, execPath } = process;
  const wanted = nodeFor({ version: versions.node, platform, arch });
  if (wanted.kind === 'here') return { node: execPath, nodeFlags: wanted.flags };
  if (wanted.kind === 'ask') return fail(wanted.text);
  const home = join(root, '.cache', 'node24');
  const binary = join(home, ...wanted.binary);
  const stamp = join(home, 'installed');
  if (!existsSync(stamp) || readFileSync(stamp, 'utf8') !== wanted.integrity || !existsSync(binary)) {
    say(`this is Node ${versions.node}; fetching Node 24 (package ${wanted.name}@${wanted.version}) into .cache/node24 ...`);
    lockNode(home, wanted);
    const args = ['ci', '--no-audit', '--no-fund', '--ignore-scripts'];
    if (!npm(args, home, process.env.PATH)) {
      fail('Node 24 could not be fetched, or is not what it should be (its hash is checked). Check the network, or install Node 24, and try again.');
    }
    writeFileSync(stamp, wanted.integrity);
  }
  return { node: binary, nodeFlags: wanted.flags };
}

/** Installs exactly what the lock file says, once for each lock file. */
function packages(path) {
  const lock = createHash('sha256').update(readFileSync(join(root, 'package-lock.json'))).digest('hex');
  const stamp = join(root, 'node_modules', '.railhouse-installed');
  if (existsSync(stamp) && readFileSync(stamp, 'utf8') === lock) return;
  say('installing packages (npm ci) ...');
  if (!npm(['ci', '--ignore-scripts', '--no-audit', '--no-fund', '--loglevel=error'], root, path)) {
    fail('the packages could not be installed. Check the network and try again.');
  }
  writeFileSync(stamp, lock);
}

const [room, ...rest] = process.argv.slice(2);
const entry = rooms[room];
if (entry === undefined) fail(`unknown room "${room}"; there are ${Object.keys(rooms).join(', ')}.`);

const { node, nodeFlags } = node24();
const path = `${dirname(node)}${delimiter}${process.env.PATH}`;
packages(path);

const args = room === 'start' ? ['start', ...rest] : rest;
// A pipe to the program says what this process is told, and ends with it: then the program makes safe and ends too (HOST-2).
// The terminal sends its signals to both; the program knows the same request when it hears it twice.
const isProgram = room === 'start' || room === 'cli';
// What the engine has made of the program's text once it need not make again, here and in the processes that the program starts (CLI-78).
const env = { NODE_COMPILE_CACHE: join(root, '.cache', 'compiled'), ...process.env, PATH: path };
// Only the program looks for the pipe: what tests and proofs start has no such pipe, and must not be told of one.
if (isProgram) env.RAILHOUSE_LAUNCHER = '3';
else delete env.RAILHOUSE_LAUNCHER;
// Studies live of short-lived objects: with room for more of them, collected by the thread that makes them, a storm takes a tenth less processor time.
const flags = room === 'show' ? ['--max-semi-space-size=64', '--min-semi-space-size=64', '--single-threaded-gc'] : [];
// npm runs this in the house; paths that a person writes are those of the folder where the person is.
const cwd = isProgram && process.env.npm_lifecycle_event === room ? process.env.INIT_CWD : undefined;
// Overlapped: on Windows the program reads the pipe as it reads any other; elsewhere it is a pipe like the others.
const child = spawn(node, [...nodeFlags, ...flags, join(root, entry), ...args], { env, cwd, stdio: ['inherit', 'inherit', 'inherit', 'overlapped'] });
const told = child.stdio[3];
told.on('error', () => undefined);
for (const signal of ['SIGINT', 'SIGTERM', 'SIGHUP', 'SIGQUIT', 'SIGBREAK']) {
  process.on(signal, () => {
    if (isProgram) told.write(`${signal}\n`);
    else if (signal !== 'SIGINT') child.kill(signal);
  });
}
child.on('exit', (code, signal) => process.exit(code ?? 128 + (constants.signals[signal] ?? 1)));
