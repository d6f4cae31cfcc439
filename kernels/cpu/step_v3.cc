#define GYREBOX_ISA v3
#define GYREBOX_ISA_NAME "x86-64-v3"
#include "cpu/step_code.inc"
