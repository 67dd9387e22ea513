/** The name of a matter, of a verdict or an inspection, and in a few words what it asks. */
import type { JSX } from 'solid-js';
import { spacedWords } from '../../../src/core/spaced-words.js';
import type { InspectionMatterName } from '../../../src/inspect/types.js';
import { matterTitle } from '../../../src/take/verdict/matter-words.js';
import type { MatterName as TakeMatterName } from '../../../src/take/types.js';

const OF_TAKE: Readonly<Record<TakeMatterName, string>> = {
  viewElevation: 'how steeply the camera looks down',
  perspective: 'how near the camera stands',
  lightAzimuth: 'from which side the light comes',
  lightElevation: 'how high the light stands',
  keyFill: 'how much brighter the lit side is',
  turnRate: 'how fast it turns',
  stir: 'how hair and cloth move',
  size: 'whether it is filmed large enough',
  screenEvenness: 'how evenly the screen is lit',
  spill: 'screen colour on the performer',
  exposure: 'how bright it was filmed',
  clipping: 'burnt-out parts',
  focus: 'how sharp it is',
  blur: 'smear by movement',
  inFrame: 'all of it in the picture, and on the screen',
  eyeline: 'where the eyes look',
  damage: 'pictures broken in the file',
  length: 'whether it is long enough',
};
const OF_JOIN: Readonly<Record<InspectionMatterName, string>> = {
  slip: 'does it slide over the film’s picture',
  spill: 'screen colour left on it',
  edgeLightness: 'a bright or dark rim',
  chatter: 'an outline that trembles',
  grain: 'as grainy as the film',
  blur: 'as soft as the film',
  blackLevel: 'its darkest beside the film’s',
  whiteLevel: 'its brightest beside the film’s',
  colour: 'its colours beside the film’s',
  light: 'lit from the film’s side',
  cadence: 'frames doubled, missing or out of step',
  shadow: 'as the film’s shadows lie',
  seam: 'the border of what was mended',
  exposure: 'as bright as the recipe makes it',
  flicker: 'brightness that jumps',
  size: 'as large as it is to be',
  edgeHardness: 'an outline cut too hard or too soft',
  solid: 'nothing shines through it',
  contact: 'dark where it stands',
  outside: 'the rest of the picture is the film’s own',
  front: 'cut where what passes before it ends',
  comb: 'lines of an interlaced video',
  takeBorder: 'cut off where the take’s picture ended',
  remains: 'nothing left of what was erased',
};

/** Head of a row of a verdict. */
export function TakeMatter(props: { name: TakeMatterName }): JSX.Element {
  return (
    <th scope="row">
      {matterTitle(props.name)}
      <small>{OF_TAKE[props.name]}</small>
    </th>
  );
}

/** Head of a row of an inspection. */
export function JoinMatter(props: { name: InspectionMatterName }): JSX.Element {
  return (
    <th scope="row">
      {spacedWords(props.name)}
      <small>{OF_JOIN[props.name]}</small>
    </th>
  );
}
