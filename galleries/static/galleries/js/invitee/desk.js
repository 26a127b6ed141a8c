// The agent's desk without a network.
import { data } from "../shared/dom.js";
import { settled } from "../shared/later.js";
import { before } from "./before.js";

await settled();
before(data("without-network"));
