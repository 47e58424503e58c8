import createClient from "openapi-fetch";
import type { paths } from "./description.js";

const client = createClient<paths>({ baseUrl: process.argv[2] });
const sheets = [{ material: "copy-paper", grammage_gsm: 80 }];
const { data, error } = await client.POST("/v1/recommendations", { body: { sheets, limit: 1 } });
if (error || !data) throw error;
const wrong = await client.GET("/v1/recommendations", { params: { query: { material: "coppy-paper", grammage_gsm: 80 } } });
console.log(data.verdict, data.recommendations[0].setups[0].head?.type, wrong.error?.errors[0].code);
