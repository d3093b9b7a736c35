/** Known weaknesses of the packages that the product runs on, where the registry in use keeps a list of them. */
import { spawnSync } from 'node:child_process';

interface Advisory {
  readonly severity?: string;
  readonly range?: string;
  readonly via?: readonly (string | { readonly title?: string })[];
}

interface Report {
  readonly message?: string;
  readonly vulnerabilities?: Readonly<Record<string, Advisory>>;
}

/** What npm said, as lines to print, and whether it speaks against the packages. */
export function readAudit(json: string): { readonly lines: readonly string[]; readonly holds: boolean } {
  let report: Report;
  try {
    report = JSON.parse(json) as Report;
  } catch {
    return { lines: ['NOT AUDITED: npm gave no report.'], holds: true };
  }
  if (report.vulnerabilities === undefined) {
    return { lines: [`NOT AUDITED: the package registry in use offers no list of advisories (${report.message ?? 'no reason given'}).`], holds: true };
  }
  const found = Object.entries(report.vulnerabilities);
  const lines = found.map(([name, { severity, range, via }]) => {
    const titles = (via ?? []).map((one) => (typeof one === 'string' ? one : (one.title ?? ''))).join('; ');
    return `${severity ?? 'unknown'}: ${name} ${range ?? ''}: ${titles}`;
  });
  return { lines: [...lines, `${found.length} packages with advisories`], holds: found.length === 0 };
}

export function showAudit(): Promise<boolean> {
  const told = spawnSync('npm', ['audit', '--omit=dev', '--json'], { cwd: import.meta.dirname, encoding: 'utf8' });
  const { lines, holds } = readAudit(told.stdout);
  process.stdout.write(`${lines.join('\n')}\n`);
  return Promise.resolve(holds);
}
