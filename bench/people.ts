/**
 * People proposed as uprights of assumed height on a clip, to be looked at beside it:
 * `npx tsx bench/people.ts FILE FRAME[,FRAME…]`.
 */
import { VideoReader } from '../src/media/video-reader.js';
import { proposePeople } from '../src/plate/marks/propose-people.js';

const [file, list] = process.argv.slice(2);
if (file === undefined || list === undefined) throw new Error('say a file and frames');
const reader = await VideoReader.open(file);
for (const n of list.split(',').map(Number)) {
  const found = await proposePeople(reader, n);
  console.log(
    n,
    found
      .map((p) =>
        p.mark.kind === 'upright'
          ? `foot ${p.mark.foot.join(',')} top ${p.mark.top.join(',')} (${p.strength.toFixed(2)})`
          : '',
      )
      .join(' | ') || 'none',
  );
}
await reader.close();
