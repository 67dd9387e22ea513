/**
 * Who may come in from the local network: a phone that typed or scanned the code shown on the desk's screen. A code is
 * eight letters and digits (40 bits), good for one phone and ten minutes; five wrong ones in a row and it is withdrawn,
 * so that guessing cannot come near it. The phone then holds a token of 256 bits in a cookie; here only its SHA-256 is
 * kept, in memory: closing the workbench forgets every phone.
 */
import { createHash, randomBytes } from 'node:crypto';
import { PlatewrightError } from '../core/errors.js';

/** No I, L, O or U: they are misread (Crockford's base 32). */
const LETTERS = '0123456789ABCDEFGHJKMNPQRSTVWXYZ';
const CODE_MS = 10 * 60_000;
const TRIES = 5;
/** A shoot day. */
export const PHONE_SECONDS = 12 * 3600;

/** One a run of the service; the clock is given, so that tests need not wait. */
export class Pairing {
  #code: { readonly text: string; readonly until: number } | null = null;
  #wrong = 0;
  readonly #phones = new Map<string, number>();
  readonly #now: () => number;

  constructor(now: () => number = Date.now) {
    this.#now = now;
  }

  /** The code that holds now, a new one where none does. `until` is Unix milliseconds. */
  code(): { readonly text: string; readonly until: number } {
    if (this.#code === null || this.#code.until <= this.#now()) this.renew();
    return this.#code!;
  }

  renew(): void {
    this.#code = { text: [...randomBytes(8)].map((b) => LETTERS[b & 31]).join(''), until: this.#now() + CODE_MS };
    this.#wrong = 0;
  }

  /** Takes a code in for a token. Throws `PW-SERVER-CODE` where it does not hold. */
  redeem(text: string): string {
    const said = text.toUpperCase().replace(/[\s-]/g, '').replaceAll('O', '0').replace(/[IL]/g, '1');
    const held = this.#code !== null && this.#code.until > this.#now();
    if (!held || said !== this.#code!.text) {
      if (held && ++this.#wrong >= TRIES) this.#code = null;
      throw new PlatewrightError(
        'PW-SERVER-CODE',
        held && this.#code !== null
          ? 'that is not the code on the screen; look again'
          : 'no code holds any more; ask for a new one on the Shoot day page of the computer',
        { kind: 'usage' },
      );
    }
    this.#code = null;
    const token = randomBytes(32).toString('base64url');
    this.#phones.set(digest(token), this.#now() + 1000 * PHONE_SECONDS);
    return token;
  }

  knows(token: string | undefined): boolean {
    const until = token === undefined ? undefined : this.#phones.get(digest(token));
    return until !== undefined && until > this.#now();
  }

  get phones(): number {
    return [...this.#phones.values()].filter((until) => until > this.#now()).length;
  }

  forget(): void {
    this.#phones.clear();
    this.renew();
  }
}

/** Looking up a digest tells nothing by its time of how near a guess came. */
function digest(token: string): string {
  return createHash('sha256').update(token).digest('base64url');
}
