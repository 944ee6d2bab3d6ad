// Asks a live server through the client that orval generates: one estimate, and a batch as JSON.
// node use-orval.js KEY prints one JSON object, which the test reads; the address is in the client.
import { batch, plugTime } from "./orval";
import type { BatchItem, BatchReply, PlugTime, PlugTimeRequest } from "./orval";

const [key] = process.argv.slice(2);
if (key === undefined) throw new Error("use-orval.js KEY");
const options = { headers: { Authorization: `Bearer ${key}` } };

const body: PlugTimeRequest = {
  id: "harbour-lane-baths/plant-room/point-1",
  pipe: { standard: "ASTM B88", size: "1/2", schedule: "L" },
  fluid: { type: "water", temperature: { value: 20, unit: "degC" } },
  ambient: { temperature: { value: 20, unit: "degC" } },
  line_pressure: { value: 3, unit: "bar" },
};
const items: BatchItem[] = [
  { estimate: "plug-time", request: { ...body } },
  { estimate: "hold-time", request: { ...body, hold: { value: 45, unit: "min" } } },
];

// what must not compile
// @ts-expect-error: no unit of pressure
export const strange: PlugTimeRequest = { ...body, line_pressure: { value: 3, unit: "furlong" } };
// @ts-expect-error: no estimate
export const unknown: BatchItem = { estimate: "plug-tome", request: {} };
// @ts-expect-error: a plug that does not close has no such time
export const careless = (reply: PlugTime): number => reply.closure.likely;

function isReply(data: BatchReply | string | Blob): data is BatchReply {
  return typeof data === "object" && "summary" in data;
}

async function main(): Promise<void> {
  const good = await plugTime(body, { fields: ["closure", "ready.likely"] }, options);
  if (good.status !== 200 || typeof good.data === "string") throw new Error(`${good.status}`);
  const bad = await plugTime({ ...body, line_pressure: { value: -1, unit: "bar" } }, undefined, options);
  if (bad.status !== 422) throw new Error(`${bad.status}`);
  const many = await batch([...items, 1], undefined, options);
  if (many.status !== 200 || !isReply(many.data)) throw new Error(`${many.status}`);
  const first = many.data.items[0]?.result as PlugTime | undefined;
  console.log(
    JSON.stringify({
      closure: good.data.closure?.likely,
      verdict: good.data.verdict,
      members: Object.keys(good.data).length,
      type: bad.data.type,
      pointers: bad.data.errors?.map((fault) => fault.pointer),
      batch: many.data.items.map((item) => item.status),
      succeeded: many.data.summary.succeeded,
      first: first?.closure?.likely,
      refused: many.data.items[2]?.problem?.type,
    }),
  );
}

void main();
