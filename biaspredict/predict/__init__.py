"""What a stage should read: spread of sound specimens, meters, observations, bias tables."""
