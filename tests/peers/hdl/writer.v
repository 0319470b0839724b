// What a simulator can put into a VCD: x and z, vectors, an integer. For Icarus Verilog and Verilator.
`timescale 1ns/1ps
module writer;
  reg clock = 0;
  reg [3:0] count = 0;
  reg [1:0] never;
  wire tristate = count[3] ? 1'bz : count[0];
  integer total = -1;
  always #62.5 clock = ~clock;
  always @(posedge clock) begin
    count <= count + 1;
    total <= total + 3;
  end
  initial begin
    $dumpfile("writer.vcd");
    $dumpvars(0, writer);
    #5000 $finish;
  end
endmodule
