// Asks a live server through the client that hey-api generates: one estimate, and a batch in three forms.
// node use-hey.js ADDRESS KEY prints one JSON object, which the test reads.
import { batch, batchLines, batchTable, plugTime } from "./hey";
import type { BatchItem, PlugTime, PlugTimeRequest } from "./hey";
import { client } from "./hey/client.gen";

const [address, key] = process.argv.slice(2);
if (address === undefined || key === undefined) throw new Error("use-hey.js ADDRESS KEY");
client.setConfig({ baseUrl: address, auth: key });

const body: PlugTimeRequest = {
  id: "harbour-lane-baths/plant-room/point-1",
  pipe: { standard: "ASTM B88", size: "1/2", schedule: "L" },
  fluid: { type: "water", temperature: { value: 20, unit: "degC" } },
  ambient: { temperature: { value: 20, unit: "degC" } },
  line_pressure: { value: 3, unit: "bar" },
};
const items: BatchItem[] = [
  { estimate: "plug-time", request: body },
  { estimate: "hold-time", request: { ...body, hold: { value: 45, unit: "min" } } },
];

// what must not compile
// @ts-expect-error: no unit of pressure
export const strange: PlugTimeRequest = { ...body, line_pressure: { value: 3, unit: "furlong" } };
// @ts-expect-error: no estimate
export const unknown: BatchItem = { estimate: "plug-tome", request: {} };
// @ts-expect-error: a plug that does not close has no such time
export const careless = (reply: PlugTime): number => reply.closure.likely;

async function main(): Promise<void> {
  const good = await plugTime({ body, query: { fields: ["closure", "ready.likely"] } });
  if (good.data === undefined) throw new Error(good.error.title);
  const bad = await plugTime({ body: { ...body, line_pressure: { value: -1, unit: "bar" } } });
  const many = await batch({ body: [...items, 1] });
  if (many.data === undefined) throw new Error(many.error.title);
  const first = many.data.items[0]?.result as PlugTime | undefined;
  const table = await batchTable({ body: "estimate,pipe.id\nplug-time,none\n" });
  // lines are text already: null keeps them as they are
  const text = items.map((item) => JSON.stringify(item)).join("\n");
  const lines = await batchLines({ body: text, bodySerializer: null, parseAs: "text" });
  console.log(
    JSON.stringify({
      closure: good.data.closure?.likely,
      verdict: good.data.verdict,
      members: Object.keys(good.data).length,
      type: bad.error?.type,
      pointers: bad.error?.errors?.map((fault) => fault.pointer),
      batch: many.data.items.map((item) => item.status),
      succeeded: many.data.summary.succeeded,
      first: first?.closure?.likely,
      refused: many.data.items[2]?.problem?.type,
      table: table.data?.split("\n")[1]?.startsWith("0,"),
      lines: lines.data?.trim().split("\n").length,
    }),
  );
}

void main();
