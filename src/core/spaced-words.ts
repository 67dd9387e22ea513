/** edgeLightness → edge lightness: a name of the documents as a person reads it. */
export function spacedWords(name: string): string {
  return name.replace(/[A-Z]/g, (c) => ` ${c.toLowerCase()}`);
}
