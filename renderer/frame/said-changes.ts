/** What a reader of the screen is told of how things stand: the count of points changes with each of them, and is looked up where it stands (WIN-136). */
export const saidChanges = (...texts: readonly string[]): string => texts.map((text) => text.replace(/, \d+ of \d+ points accepted$/u, '')).join('. ');
