#define GYREBOX_ISA v4
#define GYREBOX_ISA_NAME "x86-64-v4"
#include "cpu/step_code.inc"
