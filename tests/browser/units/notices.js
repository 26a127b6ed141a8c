import { Answers } from "/static/galleries/js/invitee/answers.js";
import { Notices } from "/static/galleries/js/invitee/notices.js";
import { Answered } from "/static/galleries/js/shared/net.js";
import { same } from "./checks.js";

const words = { access_lost: "Your link opens nothing", again: "Send it again", try_again: "Try again" };
function room() {
  const place = document.createElement("div"),
    notices = new Notices(place, words, { held: () => [] }, {}, new Map()),
    answers = new Answers({ notices, words, marks: {}, frames: new Map(), config: { again: "/again" } });
  return { place, notices, answers };
}
const shown = (place) => [...place.children].map((part) => part.textContent);

export default {
  "the way on stays beside its words however often they are drawn": () => {
    const { place, notices, answers } = room();
    answers.refused(new Answered(404, "There is no such sitting."));
    notices.show();
    notices.show();
    same(shown(place), ["Your link opens nothing Send it again"]);
    same(place.querySelector("a").getAttribute("href"), "/again");
  },
  "a cookie that is gone leads to the page anew, and one reason stands at a time": () => {
    const { place, answers } = room();
    answers.refused(new Answered(403, "Its cookie is gone."));
    same(shown(place), ["Its cookie is gone. Try again"]);
    answers.refused(new Answered(404));
    same(shown(place), ["Your link opens nothing Send it again"]);
  },
  "what is refused with the door open has no way to a new link": () => {
    const { place, answers } = room();
    answers.refused(new Answered(400, "Too many."));
    same(shown(place), ["Too many."]);
  },
};
