"""cppcheck with its MISRA C:2012 add-on over the exported C: `python -m tests.tools.c_analysis`.

Every kind of finding has an answer here; one without is a fault. Rules by their numbers, since
their wording may not be copied.
"""

import re
import tempfile
from collections import Counter
from pathlib import Path

from tests.support.c_library import exported, run

ARITHMETIC_SHIFT = (
    "`>>` of a negative word keeps its sign on every compiler that matters; the prelude stops the "
    "compiler where it does not"
)
ANSWERS = {
    "misra-c2012-2.3": "the type is there only so that its size can be refused at compile time",
    "misra-c2012-2.5": "macros of the interface, for the user",
    "misra-c2012-5.5": "on cores without division `quotient` is a function, elsewhere a macro",
    "misra-c2012-7.2": "the macros of <stdint.h> bring the suffix",
    "misra-c2012-8.7": "the interface, for the user",
    "misra-c2012-8.9": "large tables stand at the head of the file, where they can be found",
    "misra-c2012-10.1": f"{ARITHMETIC_SHIFT}; shifts to the left go through unsigned words",
    "misra-c2012-10.4": "unsuffixed constants of the interface, small and positive",
    "misra-c2012-10.6": "small constants of type int go into a wider word, unchanged",
    "misra-c2012-10.8": "the quotient of two 31-bit numbers fits the word",
    "misra-c2012-11.9": "0 is the null pointer; <stddef.h> is not needed for it",
    "misra-c2012-12.1": "brackets as in the formulas; no operator's rank is in doubt to a compiler",
    "misra-c2012-12.3": "several variables of a kind are declared in one line",
    "misra-c2012-13.3": "an index is used and moved on in one line",
    "misra-c2012-14.2": "loops that go on from where an index stands",
    "misra-c2012-15.5": "a function that has its answer returns it",
    "misra-c2012-15.7": "what is not named is left as it is",
    "misra-c2012-17.8": "a parameter brought into range keeps its name, as in the Python it is",
    "shadowFunction": "names of the kernels and of the prelude's helpers; gcc and clang agree",
    "shiftNegativeLHS": ARITHMETIC_SHIFT,
    "unusedFunction": "the interface, for the user",
    "variableScope": "variables stand at the head of a function, as the writer puts them",
}


def findings(folder: Path, place: str = "src") -> Counter[str]:
    """How often each kind of finding comes up in a folder's library, or in one file of it."""
    done = run(
        "cppcheck", "--quiet", "--std=c99", "--enable=all", "--inconclusive", "--addon=misra",
        "--suppress=missingIncludeSystem", "-I", folder / "src", folder / place,
    )  # fmt: skip
    return Counter(re.findall(r"^\S+: .*\[([\w.-]+)\]$", done.stderr.decode(), re.MULTILINE))


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        for kind, count in sorted(findings(exported(Path(name))).items()):
            print(f"{count:4} {kind}: {ANSWERS.get(kind, 'NO ANSWER YET')}")


if __name__ == "__main__":
    main()
