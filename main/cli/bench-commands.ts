import type { Command } from 'commander';

export function addBenchCommands(program: Command): void {
  void program;
}
