/**
 * Usual cautions, shown where the work can hurt. They paraphrase published guidance in general words (American Humane,
 * Guidelines for the Safe Use of Animals in Filmed Media, 2015; RSPCA and SPCA statements on animals in film; AAFP/ISFM
 * feline-friendly handling guidelines, 2011 and 2022) and defer to local rules and a vet. No published limit for take
 * length or session length was found: the numbers are this program's own defaults and are labelled so.
 */
export interface CautionNeeds {
  readonly animal: boolean;
  readonly turning: boolean;
  readonly sun: boolean;
  readonly lamps: boolean;
  readonly raised: boolean;
}

/** How long a performer is asked to attend: the production's book holds these. */
export interface Attention {
  /** One try, and the rest after it. */
  readonly takeSeconds: number;
  readonly restSeconds: number;
  /** At a stretch, the rest between stretches, and how many of them a day. */
  readonly blockMinutes: number;
  readonly restBlockMinutes: number;
  readonly blocksADay: number;
  /** Air temperature, °C, above which nothing is shot. */
  readonly warmestC: number;
}

/** What a new book starts with: the program's own choice. */
export const ATTENTION_DEFAULTS: Attention = {
  takeSeconds: 20,
  restSeconds: 60,
  blockMinutes: 10,
  restBlockMinutes: 20,
  blocksADay: 4,
  warmestC: 25,
};

const OWN_WORDS = "this program's own defaults; no published limit is known";

/**
 * The cautions that this pick's work calls for, a sentence each. `attention`: the book's own limits, in seconds,
 * minutes and °C.
 */
export function cautions(needs: CautionNeeds, attention: Attention = ATTENTION_DEFAULTS): string[] {
  const list: string[] = [];
  if (needs.animal) {
    list.push(
      'One person looks after the animal and nothing else, and may stop the shoot at any moment.',
      `Short goes and real rests: about ${attention.takeSeconds} s a try, ` +
        `${attention.blockMinutes} min at a stretch, ` +
        `then ${attention.restBlockMinutes} min off (` +
        `${isDefault(attention) ? OWN_WORDS : 'as the book says; no published limit is known'}).`,
      `Water and shade within reach; do not work in heat (limit ${attention.warmestC} °C, ` +
        (attention.warmestC === ATTENTION_DEFAULTS.warmestC
          ? "this program's own choice after common advice"
          : 'as the book says') +
        ').',
      'No restraint beyond a gentle hold that supports chest and hindquarters; let it come and go. ' +
        'Stop at signs of stress: flat ears, hiding, panting, lip licking, turning away, freezing, thumping.',
      'A second person keeps the door. Costumes must not press, heat or hinder breathing.',
    );
  }
  if (needs.turning) {
    list.push(
      'Do not spin an unwilling animal. Rather turn the camera, or a slow turntable that it stands on freely, ' +
        'or use a stand-in; stop after each turn.',
      'Whoever turns holding it gets dizzy too: clear floor, shoes that grip, somebody beside.',
    );
  }
  if (needs.sun) list.push('Never look at the sun, least of all through a lens; shade the finder when you line up.');
  if (needs.lamps)
    list.push(
      'Weigh stands down, tape cables, keep hot lamps away from screen, fur and noses; ' +
        'no lamp above an animal without a safety line.',
    );
  if (needs.raised)
    list.push('A raised performer needs a broad steady surface, a soft floor beside it and a hand near.');
  list.push(
    'Local rules on animals, filming and borrowing come first; ask a vet or a lawyer where in doubt. ' +
      'This list is no licensed advice.',
  );
  return list;
}

function isDefault(a: Attention): boolean {
  return (
    a.takeSeconds === ATTENTION_DEFAULTS.takeSeconds &&
    a.blockMinutes === ATTENTION_DEFAULTS.blockMinutes &&
    a.restBlockMinutes === ATTENTION_DEFAULTS.restBlockMinutes
  );
}
