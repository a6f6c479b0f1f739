"""Electronic crossovers and equalisers: what stands in front of the amplifiers of a bypassed loudspeaker."""
