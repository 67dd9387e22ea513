/** No command writes over what it reads: source media is never changed, and a join over its own plate is lost twice. */
import { realpathSync } from 'node:fs';
import { basename, dirname, join, resolve } from 'node:path';
import { PlatewrightError } from '../core/errors.js';

/**
 * Refuses outputs that are inputs, by whichever name (relative, absolute, through a link).
 * @param outputs files or patterns of picture sequences; those not asked for are undefined
 * @throws `PW-USAGE-OUT`
 */
export function keepInputs(outputs: readonly (string | undefined)[], inputs: readonly (string | undefined)[]): void {
  const kept = new Map(inputs.flatMap((i) => (i === undefined ? [] : [[place(i), i] as const])));
  for (const out of outputs) {
    const input = out === undefined ? undefined : kept.get(place(out));
    if (input !== undefined)
      throw new PlatewrightError(
        'PW-USAGE-OUT',
        `${basename(out!)} would be written over ${input}, which is read; give the output another name`,
        { kind: 'usage' },
      );
  }
}

/** Where a name leads: links followed as far as there is something; a pattern's folder where it is one. */
function place(path: string): string {
  try {
    return realpathSync(path);
  } catch {
    const folder = dirname(resolve(path));
    try {
      return join(realpathSync(folder), basename(path));
    } catch {
      return resolve(path);
    }
  }
}
