import { unsent } from "/static/galleries/js/invitee/sending.js";
import { same } from "./checks.js";

const words = {
  no_store: "keeps nothing",
  unsent_shut: "{n} shut",
  unsent: "{n} unsent",
  sending: "{n} going",
  offline: "offline",
  held_here: "{n} held",
  sent: "sent",
};
const state = (one) => ({ waiting: 0, held: 0, sending: false, offline: false, shut: false, keeps: true, ...one });

export default {
  "what stands in the way is said, and that all is sent only of what waited": () => {
    for (const [of, waited, said] of [
      [{}, false, ""],
      [{}, true, "sent"],
      [{ waiting: 2, sending: true }, true, "2 going"],
      [{ waiting: 2, sending: true, offline: true }, true, "2 unsent"],
      [{ waiting: 2, shut: true, sending: true }, true, "2 shut"],
      [{ waiting: 1, keeps: false }, false, "keeps nothing"],
      [{ offline: true }, false, "offline"],
      [{ held: 3 }, true, "3 held"],
    ])
      same(unsent(words, state(of), waited), said, JSON.stringify(of));
  },
};
