/** Titles by which a person tells films and takes apart. */

interface Titled {
  readonly id: string;
  readonly title: string;
}

/** A title that none has yet: the one that a file's name gave, with a number from 2 where it is taken. */
export function freeTitle(wanted: string, others: readonly Titled[]): string {
  const taken = new Set(others.map((o) => o.title));
  let title = wanted;
  for (let n = 2; taken.has(title); n++) title = `${wanted} (${n})`;
  return title;
}

/** What one of several is called: its title, with its short name after it where another has the same title. */
export function nameAmong(all: readonly Titled[], one: Titled): string {
  return all.some((o) => o.id !== one.id && o.title === one.title) ? `${one.title} (${one.id})` : one.title;
}
