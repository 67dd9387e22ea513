/** Marks files with one thing wrong each: the sentence names place and cure; a second mark where a frame has one. */
import { describe, expect, it } from 'vitest';
import { checkMarks } from './check-marks.js';
import { parseMarks, parseRegion, type Mark, type MarksFile } from './marks.js';
import { withMark } from '../one-a-frame.js';

describe('a marks file that has not the form asked for', () => {
  it('is told by its place and what belongs there, in plain words', () => {
    expect(() => parseMarks('{"frame":0,"marks":[{"kind":"stand","ground":[1,2]}]}', 'm.json')).toThrow(
      'm.json: mark 1 (stand): top is missing; a list of numbers, as the point [x, y] belongs there',
    );
    expect(() => parseMarks('{"frame":0,"marks":[{"kind":"pose","frame":"3","yawDeg":1}]}', 'm.json')).toThrow(
      'mark 1 (pose): frame should be a number, but is a text',
    );
    expect(() => parseMarks('{"marks":[{"kind":"Stand"}]}', 'm.json')).toThrow(
      /m\.json: mark 1: there is no kind "Stand"; kinds are upright, groundLines, /,
    );
    expect(() =>
      parseMarks('{"marks":[{"kind":"receiver","surface":"wall","polygon":[[0,0],[9,0],[9,9]]}]}', 'm.json'),
    ).toThrow('m.json: mark 1 (receiver): a wall needs base');
    expect(() => parseMarks('[]', 'm.json')).toThrow('the document should be an object in braces, but is a list');
  });

  it('says so where a height is in centimetres', () => {
    const text = (height: number) =>
      JSON.stringify({ marks: [{ kind: 'upright', foot: [5, 90], top: [5, 10], height }] });
    expect(() => parseMarks(text(184), 'm.json')).toThrow(
      'm.json: mark 1 (upright): height: is 184, but heights are in metres: at most 120 here',
    );
    expect(parseMarks(text(1.84), 'm.json').marks[0]).toMatchObject({ height: 1.84 });
    expect(() =>
      parseMarks('{"marks":[{"kind":"performer","ground":[5,90],"top":[5,10],"height":49}]}', 'm.json'),
    ).toThrow('height: is 49, but heights are in metres: at most 12 here');
  });

  it('says of a region file what one looks like', () => {
    expect(() => parseRegion('{"marks":[]}', 'r.json')).toThrow(
      /r\.json: frames is missing; a list belongs there \(a region file looks like/,
    );
  });
});

describe('a mark of which a frame has one', () => {
  const stand = (frame: number | undefined, top: number): Mark => ({
    kind: 'stand',
    ...(frame === undefined ? {} : { frame }),
    ground: [50, 90],
    top: [50, top],
    height: 0.5,
  });
  const file = (marks: Mark[]): MarksFile => ({ frame: 3, marks });

  it('takes the place of the one there, not of one on another frame or of another kind', () => {
    const post: Mark = { kind: 'upright', frame: 3, foot: [10, 90], top: [10, 20], height: 2 };
    // A mark without a frame holds for the file's.
    expect(withMark(file([stand(undefined, 40), stand(8, 40), post]), stand(3, 30)).marks).toEqual([
      stand(8, 40),
      post,
      stand(3, 30),
    ]);
    expect(withMark(file([post]), { ...post, foot: [20, 90] }).marks.length).toBe(2);
  });

  it('is refused twice in a file: the performer stood at one size on that frame and at another beside it', () => {
    expect(() => checkMarks(file([stand(undefined, 40), stand(3, 30)]), 100, 100, 10, 'm.json')).toThrow(
      'm.json: marks 1 and 2 are both a stand on frame 3, where there can be one',
    );
    expect(() => checkMarks(file([stand(3, 40), stand(4, 30)]), 100, 100, 10, 'm.json')).not.toThrow();
  });
});
