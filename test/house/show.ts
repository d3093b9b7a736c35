/** `npm run show -- NAME [arguments]`: the long proofs, which print their figures. Exit code 1 when one does not hold, 3 when not all of it could be checked here. */
const proofs: Readonly<Record<string, () => Promise<(args: readonly string[]) => Promise<boolean | null>>>> = {
  coverage: async () => (await import('./coverage.ts')).showCoverage,
  invariance: async () => (await import('./invariance.ts')).showInvariance,
  characterisations: async () => (await import('./characterisations.ts')).showCharacterisations,
  schedule: async () => (await import('./schedule.ts')).showSchedule,
  maps: async () => (await import('./map-targets.ts')).showMaps,
  outlook: async () => (await import('./outlook.ts')).showOutlook,
  'error-rates': async () => (await import('./error-rates.ts')).showErrorRates,
  injection: async () => (await import('./injection.ts')).showInjection,
  look: async () => (await import('./look.ts')).showLook,
  picture: async () => (await import('./picture.ts')).showPicture,
  pauses: async () => (await import('./pauses.ts')).showPauses,
  kills: async () => (await import('./kills.ts')).showKills,
  damage: async () => (await import('./damage.ts')).showDamage,
  frozen: async () => (await import('./frozen.ts')).showFrozen,
  fuzz: async () => (await import('./fuzz.ts')).showFuzz,
  firmware: async () => (await import('./show-firmware.ts')).showFirmware,
  storm: async () => (await import('../storm/storm.ts')).showStorm,
  planted: async () => (await import('../storm/planted.ts')).showPlanted,
  'odd-values': async () => (await import('./odd-values.ts')).showOddValues,
  audit: async () => (await import('./audit.ts')).showAudit,
  'fault-contract': async () => (await import('../storm/contract-show.ts')).showContract,
  'terminal-checklist': async () => (await import('./terminal-checklist.ts')).showTerminalChecklist,
  'desktop-checklist': async () => (await import('./desktop-checklist.ts')).showDesktopChecklist,
  mutation: async () => (await import('../mutation/mutation.ts')).showMutation,
  'seeded-run': async () => (await import('./seeded-run.ts')).showSeededRun,
  'power-cut': async () => (await import('../storm/power-cut.ts')).showPowerCut,
};

// A reader that has seen enough (`head`) ends the proof; what was printed stands.
process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  if (error.code !== 'EPIPE') throw error;
  process.exit(0);
});

const [name = '', ...args] = process.argv.slice(2);
const load = proofs[name];
if (load === undefined) {
  process.stderr.write(`Which proof? ${Object.keys(proofs).join(', ')}\n`);
  process.exitCode = 2;
} else {
  const started = performance.now();
  const holds = await (await load())(args);
  process.stdout.write(`${holds === null ? 'holds as far as it could be checked here' : holds ? 'holds' : 'DOES NOT HOLD'} (${((performance.now() - started) / 1000).toFixed(0)} s)\n`);
  process.exitCode = holds === null ? 3 : holds ? 0 : 1;
}
