/** The name of a plan as the name of a file on any system. */
export function planFileName(name: string): string {
  const plain = name
    .normalize('NFKD')
    .toLowerCase()
    .replace(/[^a-z0-9]+/gu, '-')
    .replace(/^-+|-+$/gu, '')
    .slice(0, 60)
    .replace(/-+$/u, '');
  return `${plain === '' ? 'plan' : plain}.plan.json`;
}
