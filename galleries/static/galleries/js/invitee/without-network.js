// Every page of somebody invited but the sheet, which keeps more: what stands here without a network are the house's
// words, not the browser's, even for somebody who never opened the sheet.
import { data } from "../shared/dom.js";
import { before } from "./before.js";
import { inPlace, link, stay, tell, unsent } from "./kept.js";
import { holdPlaces } from "./places.js";

const config = data("without-network"),
  { words } = config;
stay(words.stays);
holdPlaces(words);
tell(config, () => ({
  pages: location.pathname === config.plan ? [config.plan] : [],
  offline: inPlace(words.needs_network, words.opens_again, link("", words.try_again)),
  unsent: unsent(words),
})).then(() => before(config));
