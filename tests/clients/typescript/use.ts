// Asks a live server through openapi-fetch with the types that openapi-typescript generates.
// node use.js ADDRESS KEY prints one JSON object, which the test reads.
import createClient from "openapi-fetch";
import type { components, paths } from "./schema.js";

const [address, key] = process.argv.slice(2);
if (address === undefined || key === undefined) throw new Error("use.js ADDRESS KEY");

const client = createClient<paths, "application/json" | "application/problem+json">({
  baseUrl: address,
  headers: { Authorization: `Bearer ${key}` },
});

const body: components["schemas"]["PlugTimeRequest"] = {
  id: "harbour-lane-baths/plant-room/point-1",
  pipe: { standard: "ASTM B88", size: "1/2", schedule: "L" },
  fluid: { type: "water", temperature: { value: 20, unit: "degC" } },
  ambient: { temperature: { value: 20, unit: "degC" } },
  line_pressure: { value: 3, unit: "bar" },
};

// what must not compile
// @ts-expect-error: no unit of pressure
export const strange: typeof body = { ...body, line_pressure: { value: 3, unit: "furlong" } };
// @ts-expect-error: no address
export const lost = (): unknown => client.GET("/v1/tubes");
// @ts-expect-error: a plug that does not close has no such time
export const careless = (reply: components["schemas"]["PlugTime"]): number => reply.closure.likely;

const good = await client.POST("/v1/plug-time", { body });
if (good.error !== undefined) throw new Error(good.error.title);
const closure: number | undefined = good.data.closure?.likely;

const bad = await client.POST("/v1/plug-time", {
  body: { ...body, line_pressure: { value: -1, unit: "bar" } },
});
const pointers = bad.error?.errors?.map((fault) => fault.pointer);

const stranger = createClient<paths, "application/json" | "application/problem+json">({ baseUrl: address });
const refused = await stranger.GET("/v1/meta");

const pipes = await client.GET("/v1/pipes");

console.log(
  JSON.stringify({
    closure,
    verdict: good.data.verdict,
    status: bad.response.status,
    type: bad.error?.type,
    pointers,
    refused: refused.error?.type,
    pipes: pipes.data?.items.length,
  }),
);
