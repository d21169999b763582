"use strict";
// Says beside the truth how the guess fared; without it the page tells the same, and one compares by eye.
for (const exercise of document.querySelectorAll(".exercise")) {
  exercise.querySelector("details").addEventListener("toggle", () => {
    const guess = exercise.querySelector("input[type=radio]:checked");
    const ticks = [...exercise.querySelectorAll("input[type=checkbox]")];
    const right = ticks.filter((one) => one.checked === (one.dataset.there === "yes")).length;
    const which = guess === null ? "You said neither." :
      guess.value === exercise.dataset.faulty ? `You said minute ${guess.value}: right.` :
        `You said minute ${guess.value}: it was the other.`;
    exercise.querySelector(".guessed").textContent =
      `${which} Of ${ticks.length} things in the list you had ${right} right.`;
  });
}
