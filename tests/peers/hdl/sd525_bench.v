// Runs sd525 from the middle of a field until FIELDS whole fields have passed, and writes what it really showed:
// facts.txt ("name value" a line) and pictures.txt (a header a field, then one line of decimal codes an active line;
// a header alone: the same picture as in the last field of that parity).
`timescale 1ps / 1ps
module sd525_bench;
  parameter integer MASTER_HALF_PS = 34921;  // 4fsc = 14.318182 MHz (244M, references.md 1.1) is 34920.63 ps: 10 ppm slow
  parameter integer CLOCKS = 455, LINES = 262, INTERLACED = 0;
  parameter integer ACTIVE_X = 92, ACTIVE_Y = 30, WIDTH = 320, HEIGHT = 200;
  parameter integer BITS = 6, MODE = 0, MOVING = 0, XOR_SYNC = 0, VSYNC_HALVES = 6;
  parameter integer RISING = 1, BUS_DELAY_PS = 0, CPU_DIVIDER = 4, START_HALF = 390;
  parameter integer HSYNC_HIGH = 0, VSYNC_HIGH = 0, CSYNC_HIGH = 0, ENABLE_HIGH = 1;
  parameter integer FIELDS = 3, TAIL_LINES = 20;
  parameter integer DUMP_SEPARATE = 0, DUMP_COMPOSITE = 1, DUMP_CPU = 0, DUMP_SUBCARRIER = 0, DUMP_ENABLE = 0;
  parameter integer DUMP_ALL = 0;
  `include "picture.vh"

  reg master = 0;
  wire pixel_clock, subcarrier, cpu_clock, hsync, vsync, csync, enable, odd_field;
  wire [BITS-1:0] colour;
  wire integer field;
  sd525 #(
    .MASTER_HALF_PS(MASTER_HALF_PS), .CLOCKS(CLOCKS), .LINES(LINES), .INTERLACED(INTERLACED), .ACTIVE_X(ACTIVE_X),
    .ACTIVE_Y(ACTIVE_Y), .WIDTH(WIDTH), .HEIGHT(HEIGHT), .BITS(BITS), .MODE(MODE), .MOVING(MOVING),
    .XOR_SYNC(XOR_SYNC), .VSYNC_HALVES(VSYNC_HALVES), .RISING(RISING), .BUS_DELAY_PS(BUS_DELAY_PS),
    .CPU_DIVIDER(CPU_DIVIDER), .START_HALF(START_HALF), .HSYNC_HIGH(HSYNC_HIGH), .VSYNC_HIGH(VSYNC_HIGH),
    .CSYNC_HIGH(CSYNC_HIGH), .ENABLE_HIGH(ENABLE_HIGH)
  ) source (master, pixel_clock, subcarrier, cpu_clock, hsync, vsync, csync, enable, colour, field, odd_field);

  always #(MASTER_HALF_PS) master = ~master;

  initial begin
    $dumpfile("source.vcd");
    if (DUMP_ALL) $dumpvars(0, sd525_bench);
    else begin
      $dumpvars(0, pixel_clock, colour);
      if (DUMP_SEPARATE) $dumpvars(0, hsync, vsync);
      if (DUMP_COMPOSITE) $dumpvars(0, csync);
      if (DUMP_ENABLE) $dumpvars(0, enable);
      if (DUMP_CPU) $dumpvars(0, cpu_clock);
      if (DUMP_SUBCARRIER) $dumpvars(0, subcarrier);
    end
  end

  integer facts, pictures, number, x, y, odd;
  time began;
  initial begin
    facts = $fopen("facts.txt");
    $fwrite(facts, "clock_fs %0d\nclocks_per_line %0d\nlines_per_frame %0d\n", 4000 * MASTER_HALF_PS, CLOCKS, LINES);
    $fwrite(facts, "interlaced %0d\nactive_x %0d\nactive_y %0d\n", INTERLACED, ACTIVE_X, ACTIVE_Y);
    $fwrite(facts, "active_width %0d\nactive_height %0d\n", WIDTH, HEIGHT);
    $fwrite(facts, "second_field_offset_halves -1\nbits %0d\nblanking_code %0d\n", BITS, blanking_code(MODE));
    $fclose(facts);
    pictures = $fopen("pictures.txt");
    wait (field == 0);
    for (number = 0; number < FIELDS; number = number + 1) begin
      began = $time;
      odd = odd_field;
      wait (field == number + 1);
      $fwrite(pictures, "field %0d parity %0d vertical_fs %0d %0d\n", number, odd, began / 1000, 1000 * (began % 1000));
      if (MOVING || number < 1 + INTERLACED) for (y = 0; y < HEIGHT; y = y + 1) begin
        for (x = 0; x < WIDTH; x = x + 1)
          $fwrite(pictures, "%0d ", picture_code(
            x, INTERLACED ? 2 * y + !odd : y, WIDTH, INTERLACED ? 2 * HEIGHT : HEIGHT, BITS, MODE,
            MOVING ? number + 2 : 0));
        $fwrite(pictures, "\n");
      end
    end
    $fclose(pictures);
    #(TAIL_LINES * CLOCKS * 4 * MASTER_HALF_PS) $finish;
  end
endmodule
