import house from '../../package.json' with { type: 'json' };

/** Name and version, as every run stores them. */
export const software = `${house.name} ${house.version}`;
