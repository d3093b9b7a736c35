/** Standard normal numbers from a small generator for drawn distributions, from a seed of 1 to 2147483646, the same every time (Lehmer 1951, Box and Muller 1958). */
export function normals(seed: number): () => number {
  let state = seed;
  const uniform = () => {
    state = (state * 48_271) % 2_147_483_647;
    return state / 2_147_483_647;
  };
  // Small seeds give small first numbers.
  for (let i = 0; i < 10; i += 1) uniform();
  return () => Math.sqrt(-2 * Math.log(uniform())) * Math.cos(2 * Math.PI * uniform());
}
