# SPDX-License-Identifier: GPL-3.0-or-later
"""Turns the blocks of a page of examples into one program: each block a function, all of them run."""
import re
import sys

page, exported = (open(path, encoding="utf-8").read() for path in sys.argv[1:3])
blocks = re.findall(r"^```c( visitors)?\n(.*?)^```$", page, re.M | re.S)
missing = [name for name in exported.split()
           if not any(re.search(r"\b%s\(" % name, block) for _, block in blocks)]
if missing:
    sys.exit("no example calls: " + ", ".join(missing))
names = ["failure", "quantity", "water", "waters", "gravity", "masses", "chart", "gas", "moment", "weighing", "rig",
         "wire", "calibration", "measurement", "result", "item", "reference", "catalogue"]
print("#include <fcntl.h>\n#include <poll.h>\n#include <stdio.h>\n#include <stdlib.h>\n#include <string.h>\n"
      "#include <sys/stat.h>\n#include <unistd.h>")
for name in names:
    print("#include <upthrust/%s.h>" % name)
print('#define need(x) ((x) ? (void)0 : (fprintf(stderr, "example %d: %s: %s\\n", example, #x, failure.text), exit(1)))')
print("\n".join(block for visitors, block in blocks if visitors))
examples = [block for visitors, block in blocks if not visitors]
for i, block in enumerate(examples):
    print("static void example_%d(int example, const char *rig_file, const char *folder) {" % i)
    print("    struct up_failure failure = {0};\n    (void)rig_file, (void)folder, (void)failure;")
    print(block + "}")
print("int main(int argc, char **argv) {\n    if (argc != 3) { return 2; }\n    char folder[256];")
for i in range(len(examples)):
    print('    snprintf(folder, sizeof folder, "%%s/%d", argv[2]);\n    mkdir(folder, 0700);' % i)
    print("    example_%d(%d, argv[1], folder);" % (i, i))
print('    puts("%d examples");\n    return 0;\n}' % len(examples))
