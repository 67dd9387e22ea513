/** A number with its noun, one or several: `1 frame`, `3 frames`. For nouns that take an s. */
export function counted(n: number, noun: string): string {
  return `${n} ${noun}${n === 1 ? '' : 's'}`;
}
