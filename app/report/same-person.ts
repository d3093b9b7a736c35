/** Whether two names mean one person, by all that a name tells. */
export function samePerson(a: string, b: string): boolean {
  const plainly = (name: string): string => name.normalize('NFKC').toLowerCase().replace(/\s+/g, ' ').trim();
  return plainly(a) === plainly(b);
}
