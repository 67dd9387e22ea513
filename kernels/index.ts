// The kernels, compiled to dist/kernels.wasm. Pictures live in one imported shared memory; a kernel keeps no state, so
// any number of workers may run the same module over it. Each takes `from`, `to` (its share of the items) and a pointer
// to scratch of its own as last arguments. Only src/image/kernels.ts calls them.

export { convolveSeparable } from './convolve';
export { boxAcross, boxDown } from './box';
export { recursiveAcross, recursiveDown } from './recursive-gaussian';
export { halve, double } from './pyramid';
export { rankAcross, rankDown } from './rank';
export { warpHomography, warpMap } from './warp';
export { powerCurve, cdl } from './power';
export { ycbcrToRgb } from './ycbcr';
export { curveByTable } from './curve-table';
export { fillYuv, quantise } from './fill-yuv';
export { layFull, widenYuv } from './widen-yuv';
export { flowPatches, flowDensify, flowUnseen, flowWarp } from './flow';
export { flowData, flowSmooth, flowRelax } from './flow-refine';
export { between } from './between';
export { heldBox, heldCells, offBox, ontoBox } from './between-box';
export { blockMeans, peelHalf, peelLinear } from './peel-light';
export { peelChroma } from './peel-lines';
export { peelQuads } from './peel-quads';
export { cellPull, cellPush, cellResample, cellSums, cellUnmix } from './peel-cells';
export { deepTint, holdLit, pocketCores, takePockets, takeTint } from './screen-light';
export { eitherMask, greyCandidates, greyLimits, greySquares, greyTake } from './greyed';
export { matteTurn, peelSeeds, screenJudge, screenRatio, squareOff } from './peel-small';
export { chamferPair } from './peel-depth';
export { peelColour, peelLift, peelMatte } from './peel-full';
export { dropMinor, edgeRuns, largeParts, maskFloats, matteBox } from './screen-parts';
export { otherThan, settledScreen, takeEdges, takeSpecks } from './screen-parts';
export { shadowFlecks } from './shadow-flecks';
export { softEdge } from './soft-edge';
export { peelFlood } from './peel-flood';
export { blockMatch } from './block-match';
export { weave, drawPlaced } from './draw-placed';
export { pngPack } from './png';
export { deflateRows } from './deflate';
export { proresSlices } from './prores';
export { ballsFront, ballsDepth } from './balls';
export { cellBalls, cellDistance, coverAndStand, matteCells } from './body';
export { shadePlane, shadeReach } from './shade';
export { shadeGrain } from './shade-grain';
export { towards } from './towards';
export { labelParts } from './label';
export { codeChanged, grainOver, patchChroma, patchLuma } from './lay-coded';
export { layOver, layShade, relightCells, relightOver } from './lay-light';
export { premultiplyCut, premultiplyHalf } from './premultiply-half';
export { rideSmear } from './ride-smear';
export { rideNormal, rideSample, rideScore, rideSmooth, rideReduce, rideScale } from './ride';
