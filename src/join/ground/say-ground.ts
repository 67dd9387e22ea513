/**
 * The ground step's reason in words.
 */
import type { GroundKey } from './ground-key.js';

/**
 * Least share of the performer's card in shadow that is said (own choice: thirteen scenes without any show .08 at most,
 * seven places inside shadows mostly .2 to 1).
 */
const LEAST_SHADED = 0.25;

/** What the ground step's reason tells of; what is null is not there to be told. */
export interface GroundSaid {
  readonly key: GroundKey;
  /** What tells the shadow's darkness. */
  readonly darkness: string;
  readonly carried: boolean;
  /** A carried performer's shadow falls on a carrier as round as its axis is behind it. */
  readonly round: boolean;
  /** A carried performer sits on the carrier's shoulders. */
  readonly onTop: boolean;
  /** What tells the caster's depth. */
  readonly body: string | null;
  /** What is marked for the shadow to fall on; empty where nothing is. */
  readonly receivers: string;
  /** A shadow of the plate's own is marked where it falls on the performer. */
  readonly shaded: boolean;
  readonly mirror: string | null;
  /** Share of the performer's shadow that lies in a shadow of the plate's own. */
  readonly inShade: number | null;
}

/** The whole reason: the cast shadow or why there is none, what mirrors, and what lies in shadow already. */
export function sayGround(s: GroundSaid): string {
  return [
    s.key.missing === null ? sayCast(s) : `contact only: ${s.key.missing}`,
    s.shaded ? "; the plate's own shadow lies on the performer where it was marked" : '',
    s.mirror === null ? '' : `; ${s.mirror}`,
    sayInShade(s.inShade),
  ].join('');
}

/** From where the shadow is cast, how dark it is, on what it falls and what casts it. */
function sayCast({ key, darkness, carried, round, onTop, body, receivers }: GroundSaid): string {
  return [
    `key from ${key.azimuthDeg.toFixed(0)}° at ${key.elevationDeg.toFixed(0)}°`,
    key.shadowsFound ? ' (no shadow is marked: told by what was found at the feet of marked uprights)' : '',
    sayLamp(key),
    `; ${darkness}`,
    carried ? '; it falls on the carrier' : '',
    carried && round ? ', as round as its axis is behind the performer' : '',
    carried && onTop ? ', whose shoulders are level under the performer' : '',
    body === null ? '' : `; ${body}`,
    receivers === '' ? '' : `; ${receivers}`,
  ].join('');
}

function sayLamp({ lamp, lampFound, shadowMarked }: GroundKey): string {
  if (lamp === null) return '';
  if (lampFound === 'floor')
    return (
      `, where the performer stands, of a lamp some ${lamp.far.toFixed(1)} m away, told by how the light falls off ` +
      `over the floor${shadowMarked ? ' and by the marked shadow' : ': roughly, mark a shadow to be surer'}`
    );
  const fanning =
    lampFound !== null ? 'the marked shadow and what lies dark at another upright fan' : 'the marked shadows fan';
  return `, where the performer stands, of a lamp ${lamp.far.toFixed(1)} m away: ${fanning} out from it`;
}

function sayInShade(inShade: number | null): string {
  if (inShade === null || inShade < LEAST_SHADED) return '';
  return (
    `; ${(100 * inShade).toFixed(0)} % of the ground that its shadow falls on lies in a shadow of the plate's own: ` +
    'where that falls on the performer too, outline it (a "shade" mark)'
  );
}
