/**
 * Limits of the inspection: the program's own choice, set where at most about one true join in twenty is blamed for the
 * matter, over true joins of many cameras, files, bodies and real clips, and told beside what they let through
 * (docs/tolerances.md; the table is printed by bench/inspect-roc.ts).
 */
import type { InspectionMatterName } from './types.js';

/** The largest reading that passes, by matter; unit beside each. */
export const LIMITS: Readonly<Record<InspectionMatterName, number>> = {
  /**
   * Px rms, beside the recipe, the plate's ground and the neighbours' path; beside the performer's own matte
   * BESIDE_MATTE.
   */
  slip: 0.5,
  /** % of brightness. Made and practice joins read 0, real ones to .84 (blue and yellow clothes under trees). */
  spill: 1,
  /** L*, brighter; darker is DARKEST_EDGE. 24 true views without grain read −3.6 to 3.0. */
  edgeLightness: 3.2,
  /**
   * Alpha, of the matte; of the picture SEEN_CHATTER and WHOLE_CHATTER. One of 60 true joins is blamed; patches of sd
   * .11 are named on half.
   */
  chatter: 0.016,
  /** Least is 1 less this, of sure readings; most SURE_MOST. Two of 76 true joins are blamed. */
  grain: 0.35,
  /** Most is 1 and this, least SHARPEST. */
  blur: 0.3,
  /**
   * Coded, over the plate's; under it BLACKEST. Three of 76 true joins are blamed; a veil of .05 is named on 23 of 63,
   * of .1 on 55.
   */
  blackLevel: 0.13,
  /** Coded. True ones read to .25 (white bellies before dark sets). */
  whiteLevel: 0.27,
  /**
   * Standard deviations of what performers show (cast.ts): one in forty of its 100 true pictures lies beyond. Ginger
   * coats and the demo's poster read to 2.3, red hair and blue cloth of two real clips 2.8 and 2.9, bodies lit by a
   * lawn's colour to 7.
   */
  colour: 2.4,
  /**
   * Degrees, blamed only where UNLIKE. 34 traced and six made true pictures scatter by .12 across and .20 up and down
   * of the logarithm's slope.
   */
  light: 50,
  /** Frames: any is a fault. */
  cadence: 0,
  /** Degrees aside. True ones of the practice set read 4; mirrored ones are named on 14 of 15. */
  shadow: 35,
  /** Coded. The demo's `pan`, mended, reads 0 to .003. */
  seam: 0.02,
  /**
   * Stops, of another picture of the subject; of the recipe's own OWN_EXPOSURE. Fourteen true scenes read −.65 to .29.
   */
  exposure: 0.8,
  /** Stops rms. A held-out true scene read .037. */
  flicker: 0.04,
  /** Of another picture; of the recipe's own OWN_SIZE. The practice set's true pictures read 1.02 to 1.06. */
  size: 0.09,
  /** Least of a mixture's; most SOFTEST_OUTLINE. 69 true joins read .85 to 2.99. */
  edgeHardness: 0.62,
  /**
   * Share of the plate, and THROUGH_SURE errors. The practice set's true pictures read −.05 to .11, a see-through of .2
   * .15 to .26.
   */
  solid: 0.15,
  /** Least share of what is asked, of the recipe's own picture: unspoiled ones read .99 to 1.00. */
  contact: 0.5,
  /** Coded; of a known change OUTSIDE_PART. Twenty true views of seeds 520 to 539 read to .009. */
  outside: 0.013,
  /** Share of what moves. True ones read to .06, interlaced ones from .34. */
  comb: 0.15,
  /** Share of the performer's height. Own choice. */
  takeBorder: 0.08,
  /** Px. Outlines followed to the truth read 0 to 1, 3 px aside 2.7 to 3.7. */
  front: 1.5,
  /** Share of light. Sixteen true clean plates read 0 to .04, one .10. */
  remains: 0.12,
};

/**
 * Px rms by which the picture may go to and fro beside its own matte, which no gait and no stir does: 58 traced true
 * views and 12 made bodies read to .21 (one by a lit limb 1.25, all one way), the practice set's stand, pan and push
 * .06, .18 and .15. A slip of .4 px is named on 11 of 12, of .6 px on all of 24.
 */
export const BESIDE_MATTE = 0.3;

/**
 * Most stops by which the shadow may be lighter or darker than the plate's own: true ones of eleven scenes read -.14 on
 * average with sd .16; one in a thousand such scenes lies beyond (Student's t, 10 degrees of freedom). Bodies of a true
 * picture hide more sky than the recipe's contact does.
 */
export const SHADOW_LIGHTER = 0.6,
  SHADOW_DARKER = 0.8;

/**
 * Stops in green, and in red or blue beside it, by which the ground under the plate's own shadow may differ from the
 * performer's to tell how dark that should be (own choice).
 */
export const OTHER_GROUND_STOPS = 1.5,
  OTHER_GROUND_COLOUR = 0.6;

/**
 * Alpha by which the picture chatters beside its matte, read finer than the matte's own: in cells, and of the outline
 * as a whole (chatter.ts). One of 60 true joins is blamed by the three together.
 */
export const SEEN_CHATTER = 0.055,
  WHOLE_CHATTER = 0.028;

/**
 * Most grain of sure readings over the plate's. An encoder's own noise in rough fur adds to it: more is forgiven than
 * less (two of 76 true joins are blamed).
 */
export const SURE_MOST = 1.75;

/**
 * Least softness beside the plate's (below it is sharper); the most is 1 + LIMITS.blur. 106 true joins (traced, made
 * bodies, real clips) read .66 to 1.32, one in a hundred above 1.30 (to 1.46, and six in a hundred, before the
 * performer's own coarser detail counted); a sharpening is told finer beside the take.
 */
export const SHARPEST = 0.665;

/**
 * Beside the take through the recipe, for a picture that is this recipe's own: renders of seven demo joins read 1.00 to
 * 1.01; what an encoder smooths away (of four as H.264, .99 to 1.07 at a rate factor of 26) is let through, the
 * slightest sharpening (half the difference from a blur of 1 px: .88 to .93) and a blur of .7 px (1.12 to 1.24) are
 * not.
 */
export const OWN_SHARPEST = 0.94,
  OWN_SOFTEST = 1.1;

/**
 * The same for any other picture of the subject (another pose, light or lens than the recipe renders): seven of
 * fourteen true ones, traced anew, scatter by sd .067 of the logarithm about -.012; one in a hundred such scenes lies
 * beyond (Student's t, 6 degrees of freedom, one side). None of the other seven does.
 */
export const OTHER_SHARPEST = 0.77,
  OTHER_SOFTEST = 1.24;

/**
 * Squared distance from what the key could make from which on its side is wrong: the 90 % point of chi squared with two
 * degrees.
 */
export const UNLIKE = 4.6;

/**
 * Share of what is left above the plate's brightest that the performer may take where that is less than
 * LIMITS.whiteLevel: a picture ends at white, so before a plate that reaches .73 nothing could be blamed. Of 89 true
 * joins it blames none that is not blamed without it; one or 1.38 stops too bright it names on 94 and 95 % (54
 * without).
 */
export const WHITE_ROOM = 0.9;
/**
 * Never less than this, coded: before a plate that is itself burnt out no room is left, and what an encoder and grain
 * throw over full white (.014 over a burnt wall) is no fault. Own choice.
 */
export const WHITE_OVERSHOOT = 0.03;

/**
 * How far the performer's blacks may lie below the plate's, coded: a plate of lit lawn or wall has no shade as deep as
 * a coat's (true ones to -.15, three of 104 below -.11).
 */
export const BLACKEST = 0.11;

/**
 * Of blacks over the plate's: share of its middle from which a material holds no black of its own in the take
 * (levels.ts counts blacks by the same share in the join), and by how much more the join may hold. Unspoiled joins of
 * six shots read −.09 to .01 more, under a veil of .1 .16 to .43.
 */
export const NO_BLACK = 0.28,
  NO_MORE_HELD = 0.08;

/**
 * How far the outline may be darker than the mixture, L*: of 66 true views fur that lies in its own shade reads to
 * -3.6; brighter is LIMITS.edgeLightness.
 */
export const DARKEST_EDGE = 3.7;

/**
 * Grain that differs by less than this (sd of coded luma in the halved picture, two thirds of a step of an 8-bit
 * picture) is not seen, whatever the ratio. A film file often holds less grain than that in its quiet parts.
 */
export const UNSEEN = 0.0025;

/**
 * Grain of the recipe's own picture, by its very draw (least: the slope of what is seen over it) and by its strength
 * beside grain and encoder together (most); and the difference (sd of coded luma in the halved picture) under which
 * none is seen. Untouched pictures read 1.00 ± .02 either way.
 */
export const OWN_GRAIN_LEAST = 0.55,
  OWN_GRAIN_MOST = 1.5,
  OWN_GRAIN_UNSEEN = 0.0006;

/**
 * Encoder's noise in parts of the grain asked: under the first it took nothing; over the second nothing of fine grain
 * can be told from it. Between, files of five joins at a rate factor of 14 (1.6 to 1.9 of the grain) keep .29 to .42 of
 * the draw, at 18 .05 to .25 (2.4 to 3.1); none reads 0 ± .02.
 */
export const ENCODER_NONE = 0.35,
  ENCODER_DROWNS = 2.2,
  GRAIN_LEFT = 0.12;

/**
 * The outline beside the recipe's own (L* of the half-covered rim and of the bare ground just beyond; cover beyond),
 * the shadow's colour (stops, red over blue) and how saturated the performer is: unspoiled files at a rate factor of 14
 * read to .06 and .22 L*, .008, .015 stop and 1.00 ± .01; an outline darker by a fifth -3.7, a halo of a tenth 4.1, a
 * matte feathered by 2 px .09.
 */
export const OWN_RIM = 1.5,
  OWN_BEYOND = 1.5,
  OWN_COVER = 0.035,
  OWN_TINT = 0.2,
  OWN_SATURATION = 0.1;

/**
 * Softness along one direction over that square to it, and of all that is left along it, from which it is motion's: a
 * blur alike in all directions reads .87 to .99, one of 6 px along a line .60.
 */
export const ONE_WAY = 0.75,
  ALONG = 0.85;

/**
 * By how much farther beyond its limit (logarithm) softness beside the plate must lie where another picture of the
 * subject is as soft as its take says: a black coat in a true picture read 1.29, 1.07 by its take.
 */
export const TAKE_DOUBTS = 1.3;

/**
 * Share of the screen's colour in the set about the performer that it may carry by right: a black bird before a green
 * house reads .15 of it.
 */
export const THROWN = 0.5;

/**
 * Of any other picture of the subject: the screen's colour and the light of the outline beyond the body's, beside what
 * is asked, stops; and the plate's own patches in the body, share.
 */
export const OTHER_SPILL = 0.2,
  OTHER_RIM = 0.55,
  HOLES_ALONE = 0.003;

/** Roughly read, fur only ever adds: less grain than the plate's is blamed only where half of that is missing. */
export const UNSEEN_ROUGH = 0.0012;

/**
 * Rough readings may be off by fur that passes for grain: less is forgiven than of sure ones. What moves on by more
 * than STEADY px a frame an encoder smooths, less so the coat's rough parts: true pictures of the practice set read .7
 * to 1.3 but 2.1 in its pan.
 */
export const ROUGH_LEAST = 0.35,
  ROUGH_MOST = 1.75,
  ROUGH_MOVING = 2.6,
  STEADY = 3;

/**
 * Beside the take through the recipe, of a picture that is this recipe's own (what is seen lies on what is rendered).
 * Seven demo joins as their files hold them and four practice joins as eight bits read: exposure 0.00 to -.01 stop, red
 * and blue over green to .006 stop, a veil to .002, size 1.00, holes 0, see-through to .007, contact .99 to 1.00. The
 * limits are ten to twenty times that, for other encoders; half of what the eye sees side by side.
 */
export const OWN_EXPOSURE = 0.1,
  OWN_CAST = 0.1,
  OWN_SPILL = 0.06,
  OWN_VEIL = 0.012,
  OWN_SIZE = 0.03,
  OWN_THROUGH = 0.05,
  HOLES = 0.005,
  THROWN_BACK = 0.5;

/**
 * What is mirrored, of the recipe's own picture: how far off its place it may lie (px; an eye sees two where its foot
 * meets the performer's) and how much steeper its slopes may be than asked (sums of squares: a blur of half the size
 * gives three and more). Own choice; an own picture reads 0 px and .9 to 1.1.
 */
export const MIRRORED_OFF_PX = 1.5,
  MIRRORED_SHARPER = 2;

/**
 * The same of any other picture of the subject (another pose, lens or light): the recipe's own error counts too. The
 * practice set's four true pictures read -.17 to .29 stop, red and blue to .07, size 1.02 to 1.06, darkest parts -.075
 * to -.02, brightest .08 to .72 stop; twelve traced scenes -.65 to .05 stop where their light was the recipe's own, red
 * and blue over green together up to .51. A fault of half a stop is not told from that.
 */
export const OTHER_CAST = 0.7,
  OTHER_VEIL = 0.04,
  OTHER_WHITE = 0.95;

/**
 * Share of the performer at full white above which it is burnt out: of 89 true joins four stand over all of their plate
 * by right, one of them so.
 */
export const BURNT = 0.25;

/**
 * See-through of other pictures: so many standard errors at least, as a coat's pattern is like the plate's by chance;
 * and from which share on it could not be told, nothing is said.
 */
export const THROUGH_SURE = 5,
  THROUGH_UNTOLD = 0.5;

/**
 * Rim of the matte beside the recipe's, from which it is cut out hard; true mattes beside another pose's: .36 to .65,
 * of a person in hard clothes .19, so of other pictures than the recipe's own less is asked. And how much more than a
 * mixture may show where little is covered: 69 true joins read .85 to 2.99.
 */
export const HARDEST_RIM = 0.2,
  OTHER_HARDEST_RIM = 0.14,
  SOFTEST_OUTLINE = 3.2;

/**
 * Bright ring about another picture's performer, L*; of the thin rim where no recipe tells how bright hair is by right.
 * 28 true joins (practice, traced, bodies) read -2.9 to .5, with a ring of a tenth of white 1 to 10.
 */
export const RING = 2,
  RING_ALONE = 4;

/**
 * Px rms by which the planned foot may go away from the plate's ground over a shot. Own choice: a slide is seen less
 * than a shaking, and ground close before a wall reads up to 1.4 beside a right plan.
 */
export const GROUND_DRIFT = 1.5;

/**
 * Known changes of the whole picture: 85 true joins read 0.0000 to 0.0017 of the coded range, the faults .006 (matrix)
 * to .035 (range).
 */
export const OUTSIDE_PART = 0.004;

/**
 * Stops by which the film's own light must change over a shot before the performer is asked to go along, and by how
 * many it may stay behind or go too far (own choices: half a stop is seen side by side).
 */
export const FILM_LIGHT_CHANGES = 0.6,
  LEFT_BEHIND = 0.5;

/**
 * What an erase leaves: share of what went that still shows, by how much of the set's light the whole fill is off
 * (LIMITS.seam at mid grey; own choice), unsteadiness of the fill (ln of light), and the least of the set's fine pattern
 * that the fill keeps.
 */
export const GHOST = 0.06,
  FILL_OFF = 0.05,
  BOIL = 0.025,
  DETAIL_KEPT = 0.6;

/** What each value must be, from the limits themselves. */
export const NEEDED: Readonly<Record<InspectionMatterName, string>> = {
  slip: `at most ${LIMITS.slip} px`,
  spill: `at most ${LIMITS.spill} %`,
  edgeLightness: `from −${DARKEST_EDGE} to ${LIMITS.edgeLightness} L*`,
  chatter: `at most ${LIMITS.chatter} of alpha`,
  grain: `${(1 - LIMITS.grain).toFixed(2)} to ${SURE_MOST} of the plate's`,
  blur: `${SHARPEST.toFixed(2)} to ${(1 + LIMITS.blur).toFixed(2)} of the plate's`,
  blackLevel: `from −${BLACKEST} to ${LIMITS.blackLevel} of the coded range`,
  whiteLevel: `at most ${LIMITS.whiteLevel} of the coded range`,
  colour: `within ${LIMITS.colour} standard deviations of what performers show before such a plate`,
  light: `at most ${LIMITS.light}°, or no surer than chance`,
  cadence: 'no frame doubled, missing or out of step',
  shadow: `at most ${LIMITS.shadow}° aside, at most ${SHADOW_LIGHTER} stop lighter or ${SHADOW_DARKER} darker`,
  seam: `at most ${LIMITS.seam} of the coded range`,
  exposure: `within ${LIMITS.exposure} stop of the take through the recipe`,
  flicker: `at most ${LIMITS.flicker} stop`,
  size: `within ${100 * LIMITS.size} % of the recipe's`,
  edgeHardness: `from ${LIMITS.edgeHardness} of the matte's`,
  solid: `at most ${100 * LIMITS.solid} % of the plate seen through`,
  contact: `from ${100 * LIMITS.contact} % of what the recipe asks`,
  outside: `at most ${LIMITS.outside} of the coded range`,
  comb: `at most ${100 * LIMITS.comb} % of what moves`,
  takeBorder: `at most ${(100 * LIMITS.takeBorder).toFixed(0)} % of its height in one straight line`,
  front: `within ${LIMITS.front} px of the plate's own edge`,
  remains: `within ${LIMITS.remains} of the set's light`,
};

/**
 * Least share of the variance that a frame rendered again explains where the join is that recipe's own picture: else
 * another pose or light passes for a slip.
 */
export const SAME = 0.92;

/** The same for what a hole or two may have taken from it. */
export const NEARLY = 0.6;
