import { describe, expect, it } from 'vitest';
import { parseMarks, parseRegion } from './marks.js';

describe('a marks file that has not the form asked for', () => {
  it('is told by its place and what belongs there, in plain words', () => {
    expect(() => parseMarks('{"frame":0,"marks":[{"kind":"stand","ground":[1,2]}]}', 'm.json')).toThrow('m.json: marks.0.top is missing; a list of numbers, as the point [x, y] belongs there');
    expect(() => parseMarks('{"frame":0,"marks":[{"kind":"pose","frame":"3","yawDeg":1}]}', 'm.json')).toThrow('marks.0.frame should be a number, but is a text');
    expect(() => parseMarks('[]', 'm.json')).toThrow('the document should be an object in braces, but is a list');
  });

  it('says of a region file what one looks like', () => {
    expect(() => parseRegion('{"marks":[]}', 'r.json')).toThrow(/r\.json: frames is missing; a list belongs there \(a region file looks like/);
  });
});
